"""The connection to a database: where the database is, and how SQLite is set up. The server's side is in server.py."""

import os
import sqlite3
import time
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from curbtick.errors import NoHistoryError, StoreError
from curbtick.extras import how_to_install
from curbtick.store.database import sealed, server

BUSY_TIMEOUT_S = 5.0
# A writer touches a page of each index for every row; a reader goes by few pages, and its memory stays small.
WRITER_CACHE_KB, READER_CACHE_KB = 32_768, 2_000
CHECKPOINT_PAGES = 4_000
# How long to rest before trying again to switch a file to WAL.
RETRY_S = 0.01
MAKE_WORDS = (
    "Name the file with --db or CURBTICK_DB. A new one is made by `curbtick pull`, `round make` or `vehicles add`; "
    "`curbtick demo` makes one to look at."
)


def database_url(where: str | Path | None) -> str:
    """Turn a file name or URL into a URL; None means CURBTICK_DB, else curbtick.db in the current folder.

    Raises InputError for a URL with a password in it, unless it is the one that CURBTICK_DB holds.
    """
    by_environment = os.environ.get("CURBTICK_DB")
    named = str(where or by_environment or "curbtick.db")
    if "://" not in named:
        return f"sqlite:///{named}"
    if named != by_environment:
        server.refuse_password(named)
    return server.with_driver(named)


def refuse_absent(url: str) -> None:
    """Raise NoHistoryError for a file that is not there or empty; asking the database would make one of it."""
    parts = make_url(url)
    if parts.get_backend_name() != "sqlite" or not parts.database:
        return
    file = Path(parts.database)
    if not file.exists() or (file.is_file() and file.stat().st_size == 0):
        raise NoHistoryError(
            f"There is no history {file}.", "Nothing was read, and no file was made.", MAKE_WORDS
        )


def bare_engine(url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Engine:
    """The engine of a URL, whatever the database holds. Raises StoreError if there can be none."""
    try:
        return _sqlite(url, busy_timeout_s) if url.startswith("sqlite") else server.engine(url)
    except (ArgumentError, SQLAlchemyError, ImportError) as error:
        raise StoreError(
            f"The database {shown(url)} cannot be opened: {error}.",
            "Nothing was read or changed.",
            "Check --db or CURBTICK_DB: a file name, or a URL of a database whose driver is installed "
            f"({how_to_install('postgresql')}).",
        ) from error


def shown(url: str) -> str:
    """A URL as it may be told: without its password."""
    return make_url(url).render_as_string(hide_password=True)


def _sqlite(url: str, busy_timeout_s: float) -> Engine:
    file = sealed.file_of(url)
    engine = sealed.engine(file, busy_timeout_s) if file else _open_to_changes(url, busy_timeout_s)

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql(f"PRAGMA cache_size=-{WRITER_CACHE_KB if writes else READER_CACHE_KB}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _open_to_changes(url: str, busy_timeout_s: float) -> Engine:
    engine = create_engine(url, connect_args={"timeout": busy_timeout_s, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
        prepare(connection, busy_timeout_s)

    return engine


def prepare(connection: sqlite3.Connection, busy_timeout_s: float = BUSY_TIMEOUT_S) -> None:
    """Make a file's connection durable at each commit and strict about references."""
    connection.isolation_level = None
    _switch_to_wal(connection, busy_timeout_s)
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")


def _switch_to_wal(connection: sqlite3.Connection, busy_timeout_s: float) -> None:
    """Switch a file to a write-ahead log, which readers and one writer can use at the same time.

    The switch upgrades a read lock to an exclusive one. SQLite never waits in that step, because two programs that
    both hold the read lock would wait for each other: it fails at once, whatever the busy timeout is. So the waiting
    is done here, without a lock. A file that is in WAL already, as all but new ones are, is not locked by this.
    """
    deadline_s = time.monotonic() + busy_timeout_s
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > deadline_s:
                raise
        time.sleep(RETRY_S)
