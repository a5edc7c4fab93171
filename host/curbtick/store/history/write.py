"""Noting: a new entry of this bench's own journal, and what follows from it in the cache."""

import secrets
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, func, select

from curbtick.errors import StoreError
from curbtick.store import tables
from curbtick.store.database import server, writers
from curbtick.store.fold import apply
from curbtick.store.journal import kinds
from curbtick.store.journal.entries import Entry, canonical, digest_of, row_of

# A bench's clock is set by hand or by the network; nobody states how well (common practice: within a second).
CLOCK_UNCERTAINTY_MS = 1000
_ORIGIN = "origin"


def new_origin() -> str:
    """An origin that nobody else has: 64 random bits in hex."""
    return secrets.token_hex(8)


def note(
    connection: Connection, kind: str, payload: Mapping[str, Any], at_ms: int, who: str | None = None
) -> Entry:
    """Write an entry and bring the cache up to date with it. Raises StoreError for a payload that makes no sense."""
    text = canonical(payload)
    if kinds.understood(kind, text) is None or (who is not None and "\0" in who):
        raise StoreError(
            f"What was to be noted makes no sense as {kind}: {text[:200]}.",
            "Nothing was noted.",
            "Check names and numbers for what does not belong there.",
        )
    origin = origin_of(connection)
    server.lock(connection, origin)
    known = heads(connection)
    number = known.pop(origin, 0) + 1
    entry = made(origin, number, at_ms, who, kind, canonical(known), text)
    connection.execute(tables.entries.insert(), row_of(entry))
    writers.wrote(connection, entry.origin, entry.number)
    apply.entries(connection, [entry])
    return entry


def made(  # noqa: PLR0913
    origin: str, number: int, at_ms: int, who: str | None, kind: str, seen: str, payload: str
) -> Entry:
    """An entry with its digest."""
    content = (origin, number, at_ms, CLOCK_UNCERTAINTY_MS, who, kind, seen, payload)
    return Entry(origin, number, digest_of(content), *content[2:])


def origin_of(connection: Connection) -> str:
    """The origin of whoever writes through this connection."""
    return writers.origin_of(connection, new_origin)


def heads(connection: Connection) -> dict[str, int]:
    """The highest number known of each origin."""
    columns = tables.entries.c
    rows = connection.execute(select(columns.origin, func.max(columns.number)).group_by(columns.origin))
    return {origin: int(number) for origin, number in rows}
