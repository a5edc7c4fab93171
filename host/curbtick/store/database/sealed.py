"""A history in a folder that may not be written in, such as a backup. It is read as it is, never half old, half new.

SQLite notes who reads and writes in a file beside the history. Where it cannot make that file, it must be told that
nobody writes (`immutable`). After each reading, the program checks that nobody did.
"""

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.pool import NullPool

from curbtick.errors import StoreError

State = tuple[int, int]


def file_of(url: str) -> Path | None:
    """The file of a history whose folder may not be written in; None for every other one."""
    named = make_url(url).database
    if not named or named == ":memory:" or named.startswith("file:"):
        return None
    file = Path(named).absolute()
    return file if file.is_file() and not os.access(file.parent, os.W_OK) else None


def engine(file: Path, busy_timeout_s: float) -> Engine:
    """An engine that reads and refuses every change. A connection is used once: it remembers pages for good."""

    def connect() -> sqlite3.Connection:
        how = "mode=ro" if state_of(file) is None else "mode=ro&immutable=1"
        uri = f"{file.as_uri()}?{how}"
        return sqlite3.connect(uri, uri=True, timeout=busy_timeout_s, check_same_thread=False)

    read_engine = create_engine("sqlite://", creator=connect, poolclass=NullPool)

    @event.listens_for(read_engine, "connect")
    def _on_connect(connection: sqlite3.Connection, record: Any) -> None:
        connection.isolation_level = None
        record.info["state"] = state_of(file)

    @event.listens_for(read_engine, "commit")
    def _on_commit(connection: Connection) -> None:
        before = connection.info["state"]
        if before is not None and before != state_of(file):
            raise _changed(file)

    return read_engine


def state_of(file: Path) -> State | None:
    """Size in bytes and time of change (ns) of a history, (0, 0) for none; None where newer changes stand beside it,
    in its -wal.
    """
    beside = file.with_name(f"{file.name}-wal")
    if beside.exists() and beside.stat().st_size:
        return None
    stat = file.stat() if file.exists() else None
    return (stat.st_size, stat.st_mtime_ns) if stat else (0, 0)


def _changed(file: Path) -> StoreError:
    return StoreError(
        f"The history {file} was changed while it was read.",
        "What came of this reading may be half old and half new; the history itself is unharmed.",
        "Repeat the command.",
    )
