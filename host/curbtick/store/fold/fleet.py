"""The fold of vehicles: what each is called, what its bumpers carry, and which ones are one and the same."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, delete

from curbtick.store import keys, tables
from curbtick.store.fold import stale
from curbtick.store.journal import entries as journal
from curbtick.store.journal import order
from curbtick.store.journal.entries import Entry, values_of


@dataclass
class Folded:
    """A vehicle as its entries make it.

    former: (name, until when) of names that it no longer goes by. fits: (bumper, positions, class in kHz, from when).
    """

    name: str
    type: str | None
    depot: str | None
    is_reference: bool
    created_ms: int
    retired_ms: int | None = None
    former: list[tuple[str, int]] = field(default_factory=list)
    fits: list[tuple[int, int, int, int]] = field(default_factory=list)


def fold(connection: Connection, subjects: Sequence[str]) -> list[str]:
    """Fold vehicles, named by `v` and their reference; returns references of those that stand as another one now."""
    changed: list[str] = []
    done: set[str] = set()
    for subject in subjects:
        ref = journal.resolved(connection, subject[1:])
        if ref != subject[1:]:
            _clear(connection, [keys.of_entry(bytes.fromhex(subject[1:]))])
        if ref not in done:
            members = _together(connection, ref)
            done |= members.keys()
            changed += _write(connection, members)
    return changed


def _together(connection: Connection, ref: str) -> dict[str, list[Entry]]:
    """A vehicle and those that are the same as it, each with its entries."""
    members: dict[str, list[Entry]] = {}
    waiting = [ref]
    while waiting:
        one = waiting.pop()
        if one in members:
            continue
        members[one] = journal.standing(connection, _names_of(connection, one))
        for entry in members[one]:
            if entry.kind == "same_as":
                both = (values_of(entry)[name] for name in ("vehicle", "other"))
                waiting += [journal.resolved(connection, other) for other in both]
    return members


def _names_of(connection: Connection, ref: str) -> list[str]:
    """The subjects under which entries name a vehicle: by the entry that entered it, and by one that was moved."""
    old = tables.moved.c
    refs = {ref}
    while True:
        query = tables.moved.select().where(old.new.in_([bytes.fromhex(one) for one in refs]))
        more = {bytes(row.old).hex() for row in connection.execute(query)} - refs
        if not more:
            return [f"v{one}" for one in sorted(refs)]
        refs |= more


def _write(connection: Connection, members: Mapping[str, Sequence[Entry]]) -> list[str]:
    ids = {keys.of_entry(bytes.fromhex(ref)): ref for ref in members}
    vehicle = _folded(members, ids)
    before = {
        row.entered_id: row.vehicle_id
        for row in connection.execute(
            tables.aliases.select().where(tables.aliases.c.entered_id.in_(list(ids)))
        )
    }
    _clear(connection, ids)
    if vehicle is None:
        return list(members)
    key = _first(members, ids)
    _insert(connection, key, bytes.fromhex(ids[key]), vehicle)
    aliases = [{"entered_id": entered, "vehicle_id": key} for entered in sorted(ids)]
    connection.execute(tables.aliases.insert(), aliases)
    stale.mark(connection, {*ids, *before.values(), key})
    return [ref for entered, ref in ids.items() if before.get(entered) != key]


def _clear(connection: Connection, ids: Iterable[int]) -> None:
    for table in (tables.vehicle_names, tables.bumpers):
        connection.execute(delete(table).where(table.c.vehicle_id.in_(list(ids))))
    connection.execute(delete(tables.vehicles).where(tables.vehicles.c.id.in_(list(ids))))
    connection.execute(delete(tables.aliases).where(tables.aliases.c.entered_id.in_(list(ids))))


def _first(members: Mapping[str, Sequence[Entry]], ids: Mapping[int, str]) -> int:
    """Of vehicles that are the same, the one that they all stand as: the least key of those that were entered."""
    return min(key for key, ref in ids.items() if _entering(members[ref], ref) is not None)


def _entering(found: Sequence[Entry], ref: str) -> Entry | None:
    return next((one for one in found if one.kind == "vehicle_entered" and one.ref == ref), None)


def _folded(members: Mapping[str, Sequence[Entry]], ids: Mapping[int, str]) -> Folded | None:
    entered = {ref: entry for ref, found in members.items() if (entry := _entering(found, ref)) is not None}
    if not entered:
        return None
    first = ids[_first(members, ids)]
    made = _begun(entered[first])
    for ref, entry in sorted(entered.items()):
        if ref != first and values_of(entry)["name"] != made.name:
            made.former.append((values_of(entry)["name"], entry.at_ms))
    every = {one.name: one for found in members.values() for one in found}
    retired: dict[str, int] = {}
    for one in order.ordered(every.values()):
        _STEPS.get(one.kind, _nothing)(made, one, values_of(one))
        if one.kind == "vehicle_retired":
            retired[_member(values_of(one)["vehicle"], entered)] = one.at_ms
    if retired.keys() >= entered.keys():
        made.retired_ms = max(retired.values())
    made.fits.sort(key=lambda fit: fit[3])
    return made


def _member(ref: str, entered: Mapping[str, Entry]) -> str:
    return ref if ref in entered else next(iter(entered))


def _begun(entry: Entry) -> Folded:
    values = values_of(entry)
    made = Folded(values["name"], values["type"], values["depot"], values["is_reference"], entry.at_ms)
    for number, bumper in enumerate(names.BUMPERS):
        made.fits.append((number, *values[bumper], entry.at_ms))
    return made


def _nothing(_made: Folded, _entry: Entry, _values: Mapping[str, Any]) -> None:
    """An entry that changes nothing of the vehicle itself."""


def _renamed(made: Folded, entry: Entry, values: Mapping[str, Any]) -> None:
    made.former.append((made.name, entry.at_ms))
    made.name = values["name"]


def _refitted(made: Folded, entry: Entry, values: Mapping[str, Any]) -> None:
    made.fits.append((values["bumper"], *values["fit"], entry.at_ms))


_STEPS = {"vehicle_renamed": _renamed, "vehicle_refitted": _refitted}


def _insert(connection: Connection, key: int, digest: bytes, made: Folded) -> None:
    columns = {column.name for column in tables.vehicles.columns}
    row = {name: value for name, value in vars(made).items() if name in columns}
    connection.execute(tables.vehicles.insert().values(id=key, digest=digest, **row))
    former = [
        {"vehicle_id": key, "place": place, "name": name, "until_ms": until_ms}
        for place, (name, until_ms) in enumerate(made.former)
    ]
    names = ("bumper", "positions", "class_khz", "from_ms")
    fits = [
        {"vehicle_id": key, "place": place, **dict(zip(names, fit, strict=True))}
        for place, fit in enumerate(made.fits)
    ]
    for table, rows in ((tables.vehicle_names, former), (tables.bumpers, fits)):
        if rows:
            connection.execute(table.insert(), rows)
