"""The schema of a database: which version it has, how a new history is made, and what is refused."""

from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection, Engine, inspect, select, text

from curbtick.dates import now_ms
from curbtick.errors import NoHistoryError, StoreError
from curbtick.store import tables
from curbtick.store.database import server
from curbtick.store.database.engine import (
    BUSY_TIMEOUT_S,
    MAKE_WORDS,
    bare_engine,
    database_url,
    refuse_absent,
    shown,
)
from curbtick.store.database.troubles import translated

_UPGRADE = "Run `curbtick db upgrade` with the same --db; it says what it does."


class Upgraded(NamedTuple):
    """What an upgrade did.

    before: the version that the history had, None where the database was empty.
    after: the version that it has now.
    """

    before: int | None
    after: int


def open_engine(
    where: str | Path | None,
    busy_timeout_s: float = BUSY_TIMEOUT_S,
    making: bool = True,
) -> Engine:
    """Open a history and check its version.

    making: make a new one where a file is not there yet.
    Raises NoHistoryError if there is none, StoreError if it cannot be opened, is no history, or is of another version.
    """
    url = database_url(where)
    if not making:
        refuse_absent(url)
    engine = bare_engine(url, busy_timeout_s)
    with translated(url):
        version = _version(engine, url)
        if version is None:
            _make(engine, url, making)
            return engine
        _refuse_newer(url, version)
    return engine


def upgrade(where: str | Path | None) -> Upgraded:
    """Bring a history to this program's version, making it where the database is empty.

    Raises StoreError for a database of something else or of a newer program; nothing is changed then.
    """
    url = database_url(where)
    engine = bare_engine(url)
    try:
        with translated(url):
            before = _version(engine, url)
            if before is None:
                _create(engine)
            else:
                _refuse_newer(url, before)
    finally:
        engine.dispose()
    return Upgraded(before, tables.SCHEMA_VERSION)


def version_of(where: str | Path | None) -> int | None:
    """The version of a history; None for an empty database. Raises StoreError for a database of something else."""
    url = database_url(where)
    engine = bare_engine(url)
    try:
        with translated(url):
            return _version(engine, url)
    finally:
        engine.dispose()


def _version(engine: Engine, url: str) -> int | None:
    table_names = inspect(engine).get_table_names()
    if not table_names:
        return None
    value = _mark(engine, "schema_version") if tables.meta.name in table_names else None
    if value is None:
        raise StoreError(
            f"{shown(url)} is a database, but not a history of this program.",
            "Nothing was read or changed.",
            "Name an empty database, or another file, with --db.",
        )
    return int(value)


def _refuse_newer(url: str, version: int) -> None:
    if version > tables.SCHEMA_VERSION:
        raise StoreError(
            f"The history {shown(url)} has version {version}; this program knows {tables.SCHEMA_VERSION}.",
            "Nothing was read or changed.",
            "Install the newer version of curbtick that wrote it.",
        )


def _make(engine: Engine, url: str, making: bool) -> None:
    """Make a history in a new file. A server's database is made into one only by `upgrade`."""
    is_file = engine.dialect.name == "sqlite"
    if not (is_file and making):
        next_step = MAKE_WORDS if is_file else _UPGRADE
        raise NoHistoryError(
            f"There is no history in {shown(url)} yet.", "Nothing was read or changed.", next_step
        )
    _create(engine)


def _create(engine: Engine) -> None:
    """Make the tables, in one transaction, unless another program made them since this one looked."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        _alone(connection)
        if inspect(connection).has_table(tables.meta.name):
            return
        tables.immutable.create_all(connection)
        make_cache(connection)
        marks = {"schema_version": str(tables.SCHEMA_VERSION), "created_ms": str(now_ms())}
        rows = [{"key": key, "value": value} for key, value in marks.items()]
        connection.execute(tables.meta.insert(), rows)


def _alone(connection: Connection) -> None:
    """Wait for another program that makes the same history; there is no table yet that could be locked."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(1129661506)"))


def make_cache(connection: Connection) -> None:
    """Make the tables of the cache, empty, in a schema of their own on a server."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"CREATE SCHEMA IF NOT EXISTS {server.CACHE}"))
        connection.execute(text(f"SET LOCAL search_path = {server.CACHE}, public"))
    tables.cache.create_all(connection)


def _mark(engine: Engine, key: str) -> str | None:
    """What the history's table of marks says under a key."""
    with engine.connect() as connection:
        value: str | None = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == key))
        return value
