"""Assigning: readings taken without a round, or out of order, matched to vehicles afterwards; the original
is kept.

What the probe wrote never changes. An assignment moves where the bench holds readings to belong, notes
where they were held before, and can be undone as long as no later one has moved the same readings again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import Connection, select, update

from curbtick.errors import InputError
from curbtick.fleet import readings
from curbtick.fleet.places import results
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work import findings
from curbtick.numbers import whole
from curbtick.store import tables
from curbtick.store.history import inserted_key

Place = tuple[int | None, int, int]


@dataclass(frozen=True)
class Assignment:
    """An assignment that stands: its key, when and by whom, and how many readings it moved."""

    id: int
    at_ms: int
    by: str | None
    why: str | None
    readings: int


def to_vehicle(
    connection: Connection,
    chosen: Sequence[Reading],
    vehicle: Vehicle,
    at_ms: int,
    *,
    bumper: int | None = None,
    first_position: int | None = None,
    by: str | None = None,
    why: str | None = None,
) -> int:
    """Hold readings to belong to a vehicle.

    bumper and first_position: where the first one was taken; the others stand as far from it as the probe had
    them, one bumper's after the other's. None leaves each where the probe had it.
    Returns the assignment's key. Raises InputError for places that the vehicle does not have.
    """
    if not chosen:
        raise InputError(
            "No reading was named.", "Nothing was changed.", "Name readings as the report shows them."
        )
    places = _places(chosen, vehicle, bumper, first_position)
    return _move(connection, list(zip(chosen, places, strict=True)), at_ms, by, why)


def _places(
    chosen: Sequence[Reading], vehicle: Vehicle, bumper: int | None, first: int | None
) -> list[Place]:
    places: list[Place] = []
    for reading in chosen:
        position = reading.position if first is None else first + _steps_between(chosen[0], reading)
        own = reading if first is None else chosen[0]
        number = own.bumper if bumper is None else bumper
        _check_place(reading, vehicle, number, position)
        places.append((vehicle.id, number, position))
    return places


def _steps_between(first: Reading, other: Reading) -> int:
    """How many positions the technician went on from one reading to another.

    Without a round the probe knows no vehicles: after a bumper's last position it goes on with the other one's first,
    and from there to the first again.
    """
    on_bumper = int(first.values["positions"])
    step = int(other.values["position"]) - int(first.values["position"])
    if other.values["bumper"] != first.values["bumper"]:
        step += on_bumper
    return step % (2 * on_bumper) if on_bumper else step


def _check_place(reading: Reading, vehicle: Vehicle, bumper: int, position: int) -> None:
    highest = vehicle.bumper(bumper).positions
    if 1 <= position <= highest:
        return
    raise InputError(
        f"Reading {reading.ref} would be at {names.BUMPERS[bumper]} {position}; {vehicle.name} has {highest} there.",
        "Nothing was changed.",
        "Name the bumper and the first position, or fewer readings.",
    )


def _move(
    connection: Connection,
    moves: Sequence[tuple[Reading, Place]],
    at_ms: int,
    by: str | None,
    why: str | None,
) -> int:
    result = connection.execute(tables.assignments.insert().values(at_ms=at_ms, by=by, why=why))
    key = inserted_key(result)
    for reading, place in moves:
        connection.execute(
            tables.assigned.insert().values(
                assignment_id=key,
                reading_id=reading.id,
                old_vehicle_id=reading.vehicle_id,
                old_bumper=reading.bumper,
                old_position=reading.position,
                new_vehicle_id=place[0],
                new_bumper=place[1],
                new_position=place[2],
            )
        )
        _hold(connection, reading.id, place)
    settle(connection, [reading.id for reading, _ in moves])
    return key


def settle(connection: Connection, moved_ids: Sequence[int]) -> None:
    """Let bumper results, findings and marks of being superseded follow readings that were moved."""
    moved = list(readings.by_ids(connection, moved_ids).values())
    results.follow(connection, moved)
    findings.follow(connection, moved_ids)
    _mark_superseded(connection, moved)


def _mark_superseded(connection: Connection, moved: Sequence[Reading]) -> None:
    """Readings without a round supersede those before them at the same place only.

    The probe calls each vehicle the same there, and takes the next one's first position for the last one's again.
    """
    free = [reading for reading in moved if not reading.values["round_id"]]
    of_seq = {(reading.probe_id, reading.seq): reading for reading in free}
    again = [of_seq.get((one.probe_id, int(one.values["supersedes_seq"] or 0))) for one in free]
    replaced = {old.id for old, new in zip(again, free, strict=True) if old and old.place == new.place}
    for reading in free:
        mark = int(reading.id in replaced and reading.vehicle_id is not None)
        change = update(tables.readings).where(tables.readings.c.id == reading.id)
        connection.execute(change.values(superseded=mark))


def _hold(connection: Connection, reading_id: int, place: Place) -> None:
    values = {"vehicle_id": place[0], "at_bumper": place[1], "at_position": place[2]}
    connection.execute(update(tables.readings).where(tables.readings.c.id == reading_id).values(**values))


def undo(connection: Connection, assignment_id: int, at_ms: int) -> int:
    """Put the readings of an assignment back where they were held before; returns how many. Raises
    InputError.
    """
    columns = tables.assignments.c
    standing = connection.execute(
        select(columns.id).where(columns.id == assignment_id, columns.undone_ms.is_(None))
    ).one_or_none()
    if standing is None:
        raise InputError(
            f"There is no assignment {assignment_id} to undo.",
            "Nothing was changed.",
            "`curbtick assign` alone lists the ones that stand.",
        )
    _check_newest(connection, assignment_id)
    moved = connection.execute(
        select(tables.assigned).where(tables.assigned.c.assignment_id == assignment_id)
    ).all()
    for row in moved:
        _hold(connection, row.reading_id, (row.old_vehicle_id, row.old_bumper, row.old_position))
    settle(connection, [row.reading_id for row in moved])
    connection.execute(update(tables.assignments).where(columns.id == assignment_id).values(undone_ms=at_ms))
    return len(moved)


def _check_newest(connection: Connection, assignment_id: int) -> None:
    """Refuse to undo an assignment whose readings a later, standing one has moved again."""
    mine = select(tables.assigned.c.reading_id).where(tables.assigned.c.assignment_id == assignment_id)
    later = connection.scalar(
        select(tables.assigned.c.assignment_id)
        .join(tables.assignments, tables.assignments.c.id == tables.assigned.c.assignment_id)
        .where(tables.assigned.c.reading_id.in_(mine), tables.assigned.c.assignment_id > assignment_id)
        .where(tables.assignments.c.undone_ms.is_(None))
        .order_by(tables.assigned.c.assignment_id.desc())
        .limit(1)
    )
    if later is not None:
        raise InputError(
            f"Assignment {later} has moved some of these readings again.",
            "Nothing was changed.",
            f"Undo {later} first.",
        )


def standing(connection: Connection) -> list[Assignment]:
    """Assignments that were not undone, newest first."""
    columns = tables.assignments.c
    query = select(tables.assignments).where(columns.undone_ms.is_(None)).order_by(columns.id.desc())
    assignments = []
    for row in connection.execute(query).all():
        moved = connection.execute(
            select(tables.assigned.c.reading_id).where(tables.assigned.c.assignment_id == row.id)
        )
        assignments.append(Assignment(row.id, row.at_ms, row.by, row.why, len(moved.all())))
    return assignments


def unassigned(connection: Connection, newest: int = 500) -> list[Reading]:
    """Readings that belong to no vehicle yet, in order, the newest so many."""
    columns = tables.readings.c
    query = readings.query(columns.vehicle_id.is_(None)).order_by(columns.sort_ms.desc(), columns.id.desc())
    return list(readings.fetch(connection, query.limit(newest)))[::-1]


def parse_range(connection: Connection, words: Sequence[str]) -> list[Reading]:
    """Readings named one by one, or as PROBE-FIRST..LAST. Raises InputError."""
    chosen: list[Reading] = []
    for word in words:
        first, dots, last = word.partition("..")
        start = readings.by_ref(connection, first)
        if not dots:
            chosen.append(start)
            continue
        last_seq = whole(last)
        if last_seq is None or last_seq < start.seq:
            raise InputError(
                f"{word} names no range of readings.",
                "Nothing was changed.",
                f"Write it as {first}..{start.seq + 5}.",
            )
        columns = tables.readings.c
        query = readings.query(columns.probe_id == start.probe_id, columns.seq.between(start.seq, last_seq))
        chosen += readings.fetch(connection, query.order_by(columns.seq))
    return chosen
