"""Entries: what a person or a bench noted, each one immutable, named by its writer's origin and a number from 1.

An entry's digest is made from everything in it. Two contents under one name are both kept; which one counts is decided
without a clock (`counting`).
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sqlalchemy import Connection, select, tuple_

from curbtick.store import keys, tables
from curbtick.store.journal import kinds

_AT_ONCE = 200


@dataclass(frozen=True)
class Entry:
    """One entry, as its row holds it.

    origin: 16 hex digits. number: from 1, without gaps in one origin. uncertainty_ms: one-sided, of at_ms.
    seen: canonical JSON of the highest numbers known of other origins. payload: canonical JSON.
    """

    origin: str
    number: int
    digest: bytes
    at_ms: int
    uncertainty_ms: int
    who: str | None
    kind: str
    seen: str
    payload: str

    @property
    def name(self) -> tuple[str, int]:
        """Origin and number."""
        return self.origin, self.number

    @property
    def key(self) -> int:
        """Key in the cache of what this entry made."""
        return keys.of_entry(self.digest)

    @property
    def ref(self) -> str:
        """How other entries name this one: its digest in hex."""
        return self.digest.hex()

    @cached_property
    def values(self) -> dict[str, Any] | None:
        """The payload's values; None where this program does not understand it."""
        return kinds.understood(self.kind, self.payload)

    @property
    def subjects(self) -> list[str]:
        """What it concerns (`kinds.subjects`)."""
        return kinds.subjects(self.kind, self.ref, self.values)

    @cached_property
    def vector(self) -> dict[str, int]:
        """The highest numbers of all origins that the writer knew, its own predecessor included."""
        try:
            seen = json.loads(self.seen)
            others = {str(origin): int(number) for origin, number in seen.items()}
        except (ValueError, TypeError, AttributeError):
            others = {}
        return {**others, self.origin: self.number - 1}


COLUMNS = tuple(column.name for column in tables.entries.columns)


def canonical(value: object) -> str:
    """JSON with one way to write each value."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


def digest_of(values: Sequence[object]) -> bytes:
    """The digest of an entry from its columns but the digest, in their order."""
    return keys.digest(canonical(list(values)).encode())


def is_whole(entry: Entry) -> bool:
    """Whether an entry's digest is that of its content."""
    content = [getattr(entry, name) for name in COLUMNS if name != "digest"]
    return digest_of(content) == entry.digest


def row_of(entry: Entry) -> dict[str, Any]:
    """The entry's row."""
    return {name: getattr(entry, name) for name in COLUMNS}


def from_row(row: Any) -> Entry:
    """A row of `entries`."""
    values = dict(row._mapping)
    return Entry(**{**values, "digest": bytes(values["digest"])})


def named(connection: Connection, names: Iterable[tuple[str, int]]) -> list[Entry]:
    """Every content of the entries with these names."""
    wanted, found = sorted(set(names)), []
    columns = tables.entries.c
    for start in range(0, len(wanted), _AT_ONCE):
        some = wanted[start : start + _AT_ONCE]
        query = select(tables.entries).where(tuple_(columns.origin, columns.number).in_(some))
        found += [from_row(row) for row in connection.execute(query)]
    return found


def of_subjects(connection: Connection, subjects: Iterable[str]) -> list[Entry]:
    """The entries that concern any of these subjects and count."""
    columns, wanted = tables.touches.c, sorted(set(subjects))
    names: set[tuple[str, int]] = set()
    for start in range(0, len(wanted), _AT_ONCE):
        query = select(columns.origin, columns.number).where(
            columns.subject.in_(wanted[start : start + _AT_ONCE])
        )
        names.update((row.origin, row.number) for row in connection.execute(query))
    contents = named(connection, names)
    chosen = set(wanted)
    return [one for one in counting(connection, contents) if chosen & set(one.subjects)]


def undone_refs(connection: Connection, found: Iterable[Entry]) -> set[str]:
    """References of those entries that another one undoes."""
    wanted = {f"e{one.ref}" for one in found}
    undoing = [one for one in of_subjects(connection, wanted) if one.kind == "undone"]
    return {resolved(connection, values_of(one)["entry"]) for one in undoing}


def standing(connection: Connection, subjects: Iterable[str]) -> list[Entry]:
    """The entries that concern any of these subjects, count, and are not undone."""
    found = of_subjects(connection, subjects)
    undone = undone_refs(connection, found)
    return [one for one in found if one.ref not in undone]


def counting(connection: Connection, contents: Sequence[Entry]) -> list[Entry]:
    """Of the contents of each name the one that counts: of those that were not moved, that of the lowest digest.

    contents: with each name every content of it.
    """
    gone = _moved_of(connection, [one.digest for one in contents])
    best: dict[tuple[str, int], Entry] = {}
    for one in contents:
        if one.digest in gone:
            continue
        if one.name not in best or one.digest < best[one.name].digest:
            best[one.name] = one
    return list(best.values())


def _moved_of(connection: Connection, digests: Sequence[bytes]) -> set[bytes]:
    columns = tables.moved.c
    gone: set[bytes] = set()
    for start in range(0, len(digests), _AT_ONCE):
        query = select(columns.old).where(columns.old.in_(digests[start : start + _AT_ONCE]))
        gone.update(bytes(old) for old in connection.execute(query).scalars())
    return gone


def resolved(connection: Connection, ref: str) -> str:
    """The reference of the entry that stands for a named one now: another where a fork was entered again."""
    seen = {ref}
    while True:
        query = select(tables.moved.c.new).where(tables.moved.c.old == bytes.fromhex(ref))
        new = connection.scalar(query)
        if new is None or bytes(new).hex() in seen:
            return ref
        ref = bytes(new).hex()
        seen.add(ref)


def resolved_key(connection: Connection, ref: str) -> int:
    """Key of what a named entry made."""
    return keys.of_entry(bytes.fromhex(resolved(connection, ref)))


def values_of(entry: Entry) -> Mapping[str, Any]:
    """The payload of an entry that is understood."""
    assert entry.values is not None
    return entry.values
