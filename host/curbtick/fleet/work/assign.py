"""Assigning: readings taken without a round, or out of order, matched to vehicles afterwards; the original
is kept.

What the probe wrote never changes. An assignment moves where the bench holds readings to belong, notes
where they were held before, and can be undone as long as no later one has moved the same readings again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import Connection, func, select

from curbtick.errors import InputError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.numbers import whole
from curbtick.store import tables
from curbtick.store.history import write
from curbtick.store.journal import entries, order

Place = tuple[int, int, int]
_SHOWN = 6


@dataclass(frozen=True)
class Assignment:
    """An assignment that stands: its key, when and by whom, and how many readings it moved."""

    id: int
    at_ms: int
    by: str | None
    why: str | None
    readings: int

    @property
    def number(self) -> str:
        """What the commands call it by."""
        return number_of(self.id)


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
    rows = [
        [readings.name_of(connection, reading), vehicles.ref_of(connection, vehicle_id), bumper, position]
        for reading, (vehicle_id, bumper, position) in moves
    ]
    return write.note(connection, "readings_assigned", {"readings": rows, "why": why}, at_ms, by).key


def undo(connection: Connection, assignment_id: int, at_ms: int) -> int:
    """Put the readings of an assignment back where they were held before; returns how many. Raises
    InputError.
    """
    columns = tables.assignments.c
    standing = connection.execute(
        select(columns.digest).where(columns.id == assignment_id, columns.is_undone.is_(False))
    ).one_or_none()
    if standing is None:
        raise InputError(
            f"There is no assignment {number_of(assignment_id)} to undo.",
            "Nothing was changed.",
            "`curbtick assign` alone lists the ones that stand.",
        )
    _check_newest(connection, assignment_id)
    mine = tables.assigned.c.assignment_id == assignment_id
    count = connection.scalar(select(func.count()).select_from(tables.assigned).where(mine))
    write.note(connection, "undone", {"entry": bytes(standing.digest).hex()}, at_ms)
    return int(count or 0)


def number_of(assignment_id: int) -> str:
    """An assignment's number as the commands show and take it."""
    return vehicles.number_of(assignment_id)[:_SHOWN]


def find(connection: Connection, number: str) -> int:
    """Key of the assignment of a number, or of its beginning. Raises InputError."""
    keys = connection.execute(select(tables.assignments.c.id)).scalars()
    found = [key for key in keys if number and vehicles.number_of(key).startswith(number.lower())]
    if len(found) != 1:
        raise InputError(
            f"There is no assignment {number} to undo."
            if not found
            else f"More than one assignment begins with {number}.",
            "Nothing was changed.",
            "`curbtick assign` alone lists the ones that stand.",
        )
    return int(found[0])


def _check_newest(connection: Connection, assignment_id: int) -> None:
    """Refuse to undo an assignment whose readings a later, standing one has moved again."""
    assigned, assignment = tables.assigned.c, tables.assignments.c
    mine = select(assigned.reading_id).where(assigned.assignment_id == assignment_id)
    others = (
        select(assignment.id, assignment.origin, assignment.number)
        .join(tables.assigned, assigned.assignment_id == assignment.id)
        .where(assigned.reading_id.in_(mine), assignment.is_undone.is_(False))
        .distinct()
    )
    rows = connection.execute(others).all()
    in_order = order.ordered(
        entries.counting(connection, entries.named(connection, [tuple(r)[1:] for r in rows]))
    )
    if in_order and in_order[-1].key != assignment_id:
        later = number_of(in_order[-1].key)
        raise InputError(
            f"Assignment {later} has moved some of these readings again.",
            "Nothing was changed.",
            f"Undo {later} first.",
        )


def standing(connection: Connection) -> list[Assignment]:
    """Assignments that were not undone, newest first."""
    columns = tables.assignments.c
    query = (
        select(tables.assignments)
        .where(columns.is_undone.is_(False))
        .order_by(columns.at_ms.desc(), columns.id)
    )
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
