"""Two histories made one: each gets what it lacks of the other's entries and records, and both derive the same.

What is sent is found by digests of intervals of numbers, never by counting or by a mark of what was sent before; so a
second run sends nothing, and a history set back to an older backup gets again what it lost. Broken off anywhere, what
arrived stays.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, text

from curbtick.progress import Progress
from curbtick.store import decode, keys, tables
from curbtick.store.history import Store, arrive
from curbtick.store.journal.entries import Entry, from_row, is_whole
from curbtick.store.sync import forks, held

STEWARDS_KIND = "limits_made"


@dataclass
class Moved:
    """What one history got from the other.

    unknown: entries of a kind that this program does not know, which are carried as they are.
    withheld: limit sets that the login may not enter there. damaged: rows that are not what their digest says.
    """

    entries: int = 0
    records: int = 0
    unknown: int = 0
    withheld: int = 0
    damaged: int = 0


@dataclass
class Synced:
    """What a sync brought each way. forked: entries that were entered again under a new origin."""

    sent: Moved = field(default_factory=Moved)
    got: Moved = field(default_factory=Moved)
    forked: int = 0


def sync(own: Store, other: Store, progress: Progress | None = None) -> Synced:
    """Bring each history what it lacks of the other's. Raises StoreError; whatever arrived until then stays."""
    result = Synced(forked=forks.settle(own, other))
    for source, target, moved in ((own, other, result.sent), (other, own, result.got)):
        bring(source, target, moved, progress)
    return result


def copy(source: Store, target: Store, progress: Progress | None = None) -> Moved:
    """Bring a history what it lacks of another, which stays as it is."""
    return bring(source, target, Moved(), progress)


def bring(source: Store, target: Store, moved: Moved, progress: Progress | None) -> Moved:
    """Send one way."""
    with source.held() as connection:
        for table, take in ((tables.entries, _take_entries), (tables.records, _take_records)):
            for group in held.groups(connection, table):
                for rows in _lacking(connection, target, table, group):
                    take(target, group, rows, moved)
                    if progress:
                        progress(moved.entries + moved.records, moved.entries + moved.records)
    if moved.entries or moved.records:
        with target.write():
            pass
    return moved


def _lacking(connection: Connection, target: Store, table: Table, group: held.Name) -> Iterator[Any]:
    """Rows of a group that the target lacks, those of an interval at a time."""
    with target.held() as there:
        theirs = held.intervals(there, table, group)
    for place, digest in sorted(held.intervals(connection, table, group).items()):
        if theirs.get(place) == digest:
            continue
        with target.held() as there:
            lacking = held.contents(connection, table, group, place) - held.contents(
                there, table, group, place
            )
        if lacking:
            yield held.rows(connection, table, group, lacking)


def _take_entries(target: Store, _group: held.Name, rows: Any, moved: Moved) -> None:
    entries = [from_row(row) for row in rows]
    sound = [one for one in entries if is_whole(one) and _is_storable(one)]
    moved.damaged += len(entries) - len(sound)
    with target.arriving() as connection:
        allowed = (
            sound if _may_make_limits(connection) else [one for one in sound if one.kind != STEWARDS_KIND]
        )
        arrive.entries(connection, allowed)
    moved.withheld += len(sound) - len(allowed)
    moved.entries += len(allowed)
    moved.unknown += sum(one.values is None for one in allowed)


def _is_storable(one: Entry) -> bool:
    """Whether every engine can hold an entry's text."""
    return all("\0" not in (part or "") for part in (one.who, one.kind, one.seen, one.payload))


def _take_records(target: Store, group: held.Name, rows: Any, moved: Moved) -> None:
    sound = [row for row in rows if keys.digest(bytes(row.raw)) == bytes(row.digest)]
    moved.damaged += len(rows) - len(sound)
    batch = [decode.lenient(row.number, bytes(row.raw)) for row in sound]
    with target.pulling() as connection:
        moved.records += arrive.records(connection, group["probe"], group["log_id"], batch)


def _may_make_limits(connection: Connection) -> bool:
    """On a server limit sets are the steward's."""
    if connection.dialect.name != "postgresql":
        return True
    query = (
        "SELECT NOT row_security_active('entries') OR EXISTS (SELECT FROM pg_roles WHERE rolname = 'curbtick_steward' "
        "AND pg_has_role(current_user, oid, 'USAGE'))"
    )
    return bool(connection.scalar(text(query)))
