"""Where the bench holds records to belong: by the round that a record names, unless a person assigned the reading.

A round's number is drawn at random, so it means one round wherever it is read. Of several assignments of a reading the
last one that stands counts.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from curbtick_wire import records as wire
from sqlalchemy import Connection, bindparam, delete, select, tuple_, update

from curbtick.store import keys, tables
from curbtick.store.fold import probes, stale
from curbtick.store.journal import entries as journal
from curbtick.store.journal import order
from curbtick.store.journal.entries import Entry, values_of

_AT_ONCE = 500
_ALIAS = select(tables.aliases.c.vehicle_id).where(tables.aliases.c.entered_id == bindparam("entered_id"))


class Place(NamedTuple):
    """A vehicle's key, None for no vehicle, with bumper and position."""

    vehicle_id: int | None
    bumper: int
    position: int


def vehicle_of(connection: Connection, ref: str) -> int | None:
    """Key of the vehicle that an entry names; None while the entry that entered it is not here."""
    key: int | None = connection.scalar(_ALIAS, {"entered_id": journal.resolved_key(connection, ref)})
    return key


def fold_rounds(connection: Connection, subjects: Sequence[str]) -> None:
    """Fold rounds, named by `r` and their number: of several of one number that of the lowest digest."""
    for subject in subjects:
        number = int(subject[1:])
        before = _members(connection, number)
        _clear_round(connection, number)
        found = journal.standing(connection, [subject])
        if found:
            _enter_round(connection, min(found, key=lambda one: one.digest))
        if before != _members(connection, number):
            _replace_of_round(connection, number, before.values())


def _members(connection: Connection, number: int) -> dict[int, int]:
    """Vehicles of a round by their place in it."""
    columns = tables.round_vehicles.c
    query = (
        select(columns.place, columns.vehicle_id)
        .join(tables.rounds, tables.rounds.c.id == columns.round_id)
        .where(tables.rounds.c.number == number)
    )
    return {row.place: row.vehicle_id for row in connection.execute(query)}


def _clear_round(connection: Connection, number: int) -> None:
    mine = select(tables.rounds.c.id).where(tables.rounds.c.number == number)
    connection.execute(delete(tables.round_vehicles).where(tables.round_vehicles.c.round_id.in_(mine)))
    connection.execute(delete(tables.rounds).where(tables.rounds.c.number == number))


def _enter_round(connection: Connection, one: Entry) -> None:
    values = values_of(one)
    row = {"id": one.key, "number": values["number"], "made_ms": one.at_ms}
    more = {"name": values["name"], "technician": values["technician"]}
    connection.execute(tables.rounds.insert().values(**row, **more))
    rows = []
    for place, (ref, rear, front) in enumerate(values["vehicles"], 1):
        vehicle_id = vehicle_of(connection, ref)
        if vehicle_id is not None:
            fits = {"rear_positions": rear[0], "rear_class_khz": rear[1]}
            fits |= {"front_positions": front[0], "front_class_khz": front[1]}
            rows.append({"round_id": one.key, "place": place, "vehicle_id": vehicle_id, **fits})
    if rows:
        connection.execute(tables.round_vehicles.insert(), rows)


def _replace_of_round(connection: Connection, number: int, before: Iterable[int]) -> None:
    """Place anew what was taken in a round whose vehicles are others now."""
    old = sorted(set(before))
    for kind, table in tables.IN_ROUND.items():
        of_round = table.c.round_id == number
        loose = select(table.c.id).where(of_round, table.c.vehicle_id.is_(None))
        held = select(table.c.id).where(table.c.vehicle_id.in_(old), of_round)
        ids = {*connection.execute(loose).scalars(), *connection.execute(held).scalars()}
        if kind == wire.READING:
            readings(connection, ids)
        elif ids:
            _marks(connection, kind, ids)


def _marks(connection: Connection, kind: int, ids: Collection[int]) -> None:
    """Place anew marks of the seal or hiss check."""
    table = tables.IN_ROUND[kind]
    for some in _portions(ids):
        rows = connection.execute(select(table).where(table.c.id.in_(some))).all()
        vehicles = of_rounds(connection, {row.round_id for row in rows})
        for row in rows:
            vehicle_id = vehicles.get((row.round_id, row.vehicle))
            connection.execute(update(table).where(table.c.id == row.id).values(vehicle_id=vehicle_id))


_PLACES = (
    select(tables.rounds.c.number, tables.round_vehicles.c.place, tables.round_vehicles.c.vehicle_id)
    .join(tables.rounds, tables.rounds.c.id == tables.round_vehicles.c.round_id)
    .where(tables.rounds.c.number.in_(bindparam("numbers", expanding=True)))
)


def of_rounds(connection: Connection, numbers: Collection[int]) -> dict[tuple[int, ...], int]:
    """Key of a vehicle by (round, place in the round)."""
    wanted = sorted(set(numbers) - {0})
    rows = connection.execute(_PLACES, {"numbers": wanted}) if wanted else ()
    return {(number, place): vehicle for number, place, vehicle in rows}


def fold_assignments(connection: Connection, found: Sequence[Entry], undone: set[str]) -> None:
    """Fold entries of kind `readings_assigned`."""
    moved: set[int] = set()
    for one in found:
        moved |= _forget(connection, [one.key])
        row = {"id": one.key, "at_ms": one.at_ms, "by": one.who, "why": values_of(one)["why"]}
        more = {
            "is_undone": one.ref in undone,
            "origin": one.origin,
            "number": one.number,
            "digest": one.digest,
        }
        connection.execute(tables.assignments.insert().values(**row, **more))
        rows = _assigned(connection, one)
        if rows:
            connection.execute(tables.assigned.insert(), rows)
        moved |= {row["reading_id"] for row in rows}
    readings(connection, moved)


def _assigned(connection: Connection, one: Entry) -> list[dict[str, Any]]:
    rows: dict[int, dict[str, Any]] = {}
    for reading, ref, bumper, position in values_of(one)["readings"]:
        vehicle_id = vehicle_of(connection, ref)
        if vehicle_id is not None:
            key = probes.reading_key(connection, reading)
            place = {"vehicle_id": vehicle_id, "bumper": bumper, "position": position}
            rows[key] = {"assignment_id": one.key, "reading_id": key, **place}
    return list(rows.values())


def forget(connection: Connection, ids: Sequence[int]) -> None:
    """Take away assignments whose entries no longer count."""
    readings(connection, _forget(connection, ids))


def _forget(connection: Connection, ids: Sequence[int]) -> set[int]:
    moved: set[int] = set()
    for some in _portions(ids):
        columns = tables.assigned.c
        mine = columns.assignment_id.in_(some)
        moved.update(connection.execute(select(columns.reading_id).where(mine)).scalars())
        connection.execute(delete(tables.assigned).where(mine))
        connection.execute(delete(tables.assignments).where(tables.assignments.c.id.in_(some)))
    return moved


def are_assigned(connection: Connection, low_id: int, high_id: int) -> set[int]:
    """Keys of the readings within a range of keys that any assignment names."""
    columns = tables.assigned.c
    query = select(columns.reading_id).where(columns.reading_id.between(low_id, high_id))
    return set(connection.execute(query).scalars())


def readings(connection: Connection, ids: Collection[int]) -> None:
    """Place these readings anew, and see what of them supersedes what; their vehicles are folded again."""
    columns = tables.readings.c
    fields = (columns.id, columns.round_id, columns.vehicle, columns.bumper, columns.position)
    held = (columns.vehicle_id, columns.at_bumper, columns.at_position)
    for some in _portions(ids):
        rows = connection.execute(select(*fields, *held).where(columns.id.in_(some))).all()
        vehicles = of_rounds(connection, {row.round_id for row in rows})
        assigned = _standing(connection, some)
        concerned: set[int | None] = set()
        for row in rows:
            by_round = vehicles.get((row.round_id, row.vehicle)) if row.round_id else None
            place = assigned.get(row.id, Place(by_round, row.bumper, row.position))
            before = Place(row.vehicle_id, row.at_bumper, row.at_position)
            if place != before:
                concerned |= {place.vehicle_id, before.vehicle_id}
                _hold(connection, row.id, place)
        stale.mark(connection, concerned)
        superseded(connection, some)


def _hold(connection: Connection, reading_id: int, place: Place) -> None:
    values = {"vehicle_id": place.vehicle_id, "at_bumper": place.bumper, "at_position": place.position}
    connection.execute(update(tables.readings).where(tables.readings.c.id == reading_id).values(**values))


def _standing(connection: Connection, ids: Sequence[int]) -> dict[int, Place]:
    """Where assignments that stand hold readings to belong, by the reading's key."""
    columns, assignment = tables.assigned.c, tables.assignments.c
    query = (
        select(tables.assigned, assignment.origin, assignment.number)
        .join(tables.assignments, assignment.id == columns.assignment_id)
        .where(columns.reading_id.in_(ids), assignment.is_undone.is_(False))
    )
    rows = connection.execute(query).all()
    rank = _ranks(connection, {(row.origin, row.number) for row in rows} if len(rows) > 1 else set())
    last = sorted(rows, key=lambda row: rank.get((row.origin, row.number), 0))
    return {row.reading_id: Place(row.vehicle_id, row.bumper, row.position) for row in last}


def _ranks(connection: Connection, names: set[tuple[str, int]]) -> Mapping[tuple[str, int], int]:
    found = journal.counting(connection, journal.named(connection, names))
    return {one.name: place for place, one in enumerate(order.ordered(found))}


def superseded(connection: Connection, ids: Collection[int]) -> None:
    """Mark which of these readings, and of those that these were taken instead of, were taken again.

    Without a round the probe calls each vehicle the same, and takes the next one's first position for the last one's
    again: there a reading is superseded only by one at the same place.
    """
    columns = tables.readings.c
    again = select(columns.probe_id, columns.supersedes_seq).where(
        columns.id.in_(ids), columns.supersedes_seq > 0
    )
    older = {keys.of_record(row.probe_id, row.supersedes_seq) for row in connection.execute(again)}
    rows = connection.execute(select(tables.readings).where(columns.id.in_({*ids, *older}))).all()
    if not rows:
        return
    named = tuple_(columns.probe_id, columns.supersedes_seq).in_([(row.probe_id, row.seq) for row in rows])
    newer: dict[int, list[Any]] = {}
    for one in connection.execute(select(tables.readings).where(named, columns.supersedes_seq > 0)):
        newer.setdefault(keys.of_record(one.probe_id, one.supersedes_seq), []).append(one)
    changed: set[int | None] = set()
    for row in rows:
        mark = int(any(_supersedes(one, row) for one in newer.get(row.id, ())))
        if mark != row.superseded:
            changed.add(row.vehicle_id)
            connection.execute(update(tables.readings).where(columns.id == row.id).values(superseded=mark))
    stale.mark(connection, changed)


def _supersedes(one: Any, row: Any) -> bool:
    if one.round_id:
        return True
    here = (row.vehicle_id, row.at_bumper, row.at_position)
    return row.vehicle_id is not None and here == (one.vehicle_id, one.at_bumper, one.at_position)


def _portions(ids: Iterable[int]) -> Iterable[list[int]]:
    ordered = sorted(ids)
    return (ordered[start : start + _AT_ONCE] for start in range(0, len(ordered), _AT_ONCE))
