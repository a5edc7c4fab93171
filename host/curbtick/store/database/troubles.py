"""Errors of a database as words: what happened, what it means for the data, what to do next."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import DBAPIError, OperationalError

from curbtick.errors import StoreError
from curbtick.store.database.engine import shown

# What SQLite's files beside a history take at least; with less room it can neither read nor write.
ROOM_BYTES = 32_768
KEPT = "Nothing was changed: what was stored before is still there, and a probe keeps its records until told."


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
        ("permission denied", "row-level security"),
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
