"""Opening the database: where it is, which version it has, and its errors in words."""

import os
import shutil
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError, SQLAlchemyError

from curbtick.errors import NoHistoryError, StoreError
from curbtick.store import sealed, server, tables

BUSY_TIMEOUT_S = 5.0
# A writer touches a page of each index for every row; a reader goes by few pages, and its memory stays small.
WRITER_CACHE_KB, READER_CACHE_KB = 32_768, 2_000
CHECKPOINT_PAGES = 4_000
# What SQLite's notes beside a history take at least; with less room it can neither read nor write.
ROOM_BYTES = 32_768
COPYING = "copying"
"""Mark of a history that a copy is filling; its value names the history it comes from."""
_UPGRADE = "Run `curbtick db upgrade` with the same --db; it says what it does."
_MAKE = (
    "Name the file with --db or CURBTICK_DB. A new one is made by `curbtick pull`, `round make` or `vehicles add`; "
    "`curbtick demo` makes one to look at."
)
KEPT = "Nothing was changed: what was stored before is still there, and a probe keeps its records until told."


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


def open_engine(
    where: str | Path | None,
    busy_timeout_s: float = BUSY_TIMEOUT_S,
    filling: bool = False,
    making: bool = True,
) -> Engine:
    """Open the database and check its version.

    filling: also open a history that a copy has not filled yet; making: make a new one where a file is not
    there yet. Raises NoHistoryError if there is none, StoreError if it cannot be opened, is no history, or is
    of another version.
    """
    url = database_url(where)
    if not making:
        refuse_absent(url)
    engine = bare_engine(url, busy_timeout_s)
    with translated(url):
        _check_version(engine, url, filling, making)
    return engine


def refuse_absent(url: str) -> None:
    """Raise NoHistoryError for a file that is not there or empty; asking the database would make one of it."""
    parts = make_url(url)
    if parts.get_backend_name() != "sqlite" or not parts.database:
        return
    file = Path(parts.database)
    if not file.exists() or (file.is_file() and file.stat().st_size == 0):
        raise NoHistoryError(f"There is no history {file}.", "Nothing was read, and no file was made.", _MAKE)


def bare_engine(url: str, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Engine:
    """The engine of a URL, whatever the database holds. Raises StoreError if there can be none."""
    try:
        return _sqlite(url, busy_timeout_s) if url.startswith("sqlite") else server.engine(url)
    except (ArgumentError, SQLAlchemyError, ImportError) as error:
        raise StoreError(
            f"The database {shown(url)} cannot be opened: {error}.",
            "Nothing was read or changed.",
            "Check --db or CURBTICK_DB: a file name, or a URL of a database whose driver is installed "
            "(`pip install 'curbtick[postgresql]'`).",
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
        prepare(connection)

    return engine


def prepare(connection: sqlite3.Connection) -> None:
    """Make a file's connection durable at each commit and strict about references."""
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute(f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}")


def _check_version(engine: Engine, url: str, filling: bool, making: bool) -> None:
    found = inspect(engine).get_table_names()
    is_file = engine.dialect.name == "sqlite"
    if not found and is_file and making:
        _create(engine)
        return
    if not found:
        next_step = _MAKE if is_file else _UPGRADE
        raise NoHistoryError(
            f"There is no history in {shown(url)} yet.", "Nothing was read or changed.", next_step
        )
    version = stored_version(engine) if "meta" in found else None
    if version is None:
        raise StoreError(
            f"{shown(url)} is a database, but not a history of this program.",
            "Nothing was read or changed.",
            "Name another file with --db.",
        )
    refuse_newer(url, version)
    if version < tables.SCHEMA_VERSION:
        raise StoreError(
            f"The history {shown(url)} has version {version}; this program needs {tables.SCHEMA_VERSION}.",
            "Nothing was read or changed.",
            _UPGRADE,
        )
    if not filling and marked(engine, COPYING) is not None:
        raise StoreError(
            f"The history {shown(url)} is not filled yet: a copy into it was not finished.",
            "Nothing was read or changed.",
            "Repeat the `curbtick db copy`; it goes on where it stopped.",
        )


def refuse_newer(url: str, version: int) -> None:
    """Raise StoreError for a version that this program does not know."""
    if version > tables.SCHEMA_VERSION:
        raise StoreError(
            f"The history {shown(url)} has version {version}; this program knows {tables.SCHEMA_VERSION}.",
            "Nothing was read or changed.",
            "Install the newer version of curbtick that wrote it.",
        )


def stored_version(engine: Engine) -> int | None:
    """The version that the history says it has."""
    value = marked(engine, "schema_version")
    return None if value is None else int(value)


def marked(engine: Engine, key: str) -> str | None:
    """What the history's table of marks says under a key."""
    with engine.connect() as connection:
        value: str | None = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == key))
        return value


def _create(engine: Engine) -> None:
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if inspect(connection).has_table("meta"):
            return  # Another program made it since this one looked.
        tables.metadata.create_all(connection)
        marks = [("schema_version", str(tables.SCHEMA_VERSION)), ("created_ms", str(now_ms()))]
        connection.execute(tables.meta.insert(), [{"key": key, "value": value} for key, value in marks])


def now_ms() -> int:
    """The bench's clock, in milliseconds since 1970 UTC."""
    return time.time_ns() // 1_000_000


@contextmanager
def translated(url: str) -> Iterator[None]:
    """Turn a database's exception into a StoreError that says what to do."""
    try:
        yield
    except DBAPIError as error:
        raise _explained(url, error) from error


_TROUBLES = (
    (
        ("locked", "busy", "lock timeout"),
        "The history {named} is locked by another program.",
        KEPT,
        "Close the other program, or wait until it is done, and try again.",
    ),
    (
        ("full", "No space"),
        "The disk that holds {named} is full.",
        KEPT,
        "Free some space and try again.",
    ),
    (
        ("not a database", "malformed"),
        "{named} is not a database, or it is damaged: {text}.",
        "Nothing was changed.",
        "Name another file with --db, or restore it from a copy.",
    ),
    (
        ("readonly", "unable to open"),
        "The history {named} cannot be opened for writing: {text}.",
        KEPT,
        "The file and its folder must exist and be yours to write in. What you may only read, copy to a folder of "
        "your own, with the -wal file beside it if there is one, and name the copy with --db.",
    ),
    (
        ("disk I/O error",),
        "The disk that holds {named} fails: {text}.",
        KEPT,
        "See that the disk is there, in order and not full, and try again.",
    ),
    (
        ("permission denied",),
        "The database {named} does not allow this: {text}.",
        KEPT,
        "Ask the steward of the history for a role that may (`curbtick db roles` shows what each may).",
    ),
)


def _explained(url: str, error: Exception) -> StoreError:
    text = str(getattr(error, "orig", error)).strip()
    named = shown(url)
    if "disk I/O error" in text and url.startswith("sqlite") and _is_disk_full(url):
        text = "No space left"
    for signs, what, data, next_step in _TROUBLES:
        if any(sign in text for sign in signs):
            return StoreError(what.format(named=named, text=text), data, next_step)
    if isinstance(error, OperationalError) and not url.startswith("sqlite"):
        return StoreError(
            f"The database {named} does not answer: {text}.", KEPT, "Check the server and try again."
        )
    return StoreError(f"The database refused a change: {text}.", KEPT, "Report this, with the words above.")


def _is_disk_full(url: str) -> bool:
    """Whether SQLite, which only says that something failed, has no room left for its files."""
    folder = Path(make_url(url).database or "").absolute().parent
    return folder.exists() and shutil.disk_usage(folder).free < ROOM_BYTES
