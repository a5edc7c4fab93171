"""Opening the database: where it is, which version it has, and its errors in words."""

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError, SQLAlchemyError

from curbtick.errors import StoreError
from curbtick.store import tables

BUSY_TIMEOUT_S = 5.0
KEPT = "Nothing was changed: what was stored before is still there, and a probe keeps its records until told."


def database_url(where: str | Path | None) -> str:
    """Turn a file name or URL into a URL; None means CURBTICK_DB, else curbtick.db in the current folder."""
    named = str(where or os.environ.get("CURBTICK_DB") or "curbtick.db")
    return named if "://" in named else f"sqlite:///{named}"


def open_engine(where: str | Path | None, busy_timeout_s: float = BUSY_TIMEOUT_S) -> Engine:
    """Open the database and check its version, making a new one where there is none.

    Raises StoreError if it cannot be opened, is no history, or comes from a newer version.
    """
    url = database_url(where)
    try:
        engine = _sqlite(url, busy_timeout_s) if url.startswith("sqlite") else create_engine(url)
    except (ArgumentError, SQLAlchemyError, ImportError) as error:
        raise StoreError(
            f"The database {_shown(url)} cannot be opened: {error}.",
            "Nothing was read or changed.",
            "Check --db or CURBTICK_DB: a file name, or a URL of a database whose driver is installed.",
        ) from error
    with translated(url):
        _check_version(engine, url)
    return engine


def _shown(url: str) -> str:
    return make_url(url).render_as_string(hide_password=True)


def _sqlite(url: str, busy_timeout_s: float) -> Engine:
    engine = create_engine(url, connect_args={"timeout": busy_timeout_s, "check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _on_connect(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _check_version(engine: Engine, url: str) -> None:
    found = inspect(engine).get_table_names()
    if not found:
        _create(engine)
        return
    version = _stored_version(engine) if "meta" in found else None
    if version is None:
        raise StoreError(
            f"{_shown(url)} is a database, but not a history of this program.",
            "Nothing was read or changed.",
            "Name another file with --db.",
        )
    if version > tables.SCHEMA_VERSION:
        raise StoreError(
            f"The history {_shown(url)} has version {version}; this program knows {tables.SCHEMA_VERSION}.",
            "Nothing was read or changed.",
            "Install the newer version of curbtick that wrote it.",
        )


def _stored_version(engine: Engine) -> int | None:
    with engine.connect() as connection:
        value = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "schema_version"))
    return None if value is None else int(value)


def _create(engine: Engine) -> None:
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
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
    except (DBAPIError, OSError) as error:
        raise _explained(url, error) from error


def _explained(url: str, error: Exception) -> StoreError:
    text = str(getattr(error, "orig", error)).strip()
    shown = _shown(url)
    if "locked" in text or "busy" in text:
        return StoreError(
            f"The history {shown} is locked by another program.",
            KEPT,
            "Close the other program, or wait until it is done, and try again.",
        )
    if "full" in text or "No space" in text:
        return StoreError(f"The disk that holds {shown} is full.", KEPT, "Free some space and try again.")
    if "not a database" in text or "malformed" in text:
        return StoreError(
            f"{shown} is not a database, or it is damaged: {text}.",
            "Nothing was changed.",
            "Name another file with --db, or restore it from a copy.",
        )
    if "readonly" in text or "unable to open" in text:
        return StoreError(
            f"The history {shown} cannot be opened for writing: {text}.",
            KEPT,
            "Check that the folder exists and that you may write in it.",
        )
    if isinstance(error, OperationalError):
        return StoreError(
            f"The database {shown} does not answer: {text}.", KEPT, "Check the server and try again."
        )
    return StoreError(f"The database refused a change: {text}.", KEPT, "Report this, with the words above.")
