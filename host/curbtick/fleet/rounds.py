"""Rounds: the ordered vehicles of a day, as the probe takes them and as the technician's sheet shows them."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass

from curbtick_wire import codec, names, records, settings
from sqlalchemy import Connection, select

from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.lines import Line
from curbtick.fleet.vehicles import Bumper, Vehicle
from curbtick.naming import checked_optional
from curbtick.store import tables
from curbtick.store.history import write

NUMBER_MAX = records.NONE_U32
_BUMPERS = (names.REAR, names.FRONT)
VEHICLES_MAX = next(field[3] for field in settings.ROUND if field[0] == "vehicle_count")


@dataclass(frozen=True)
class Round:
    """A round; the place of a vehicle in `vehicles`, from 1, is its number on the probe's bar."""

    id: int
    number: int
    name: str | None
    technician: str | None
    made_ms: int
    vehicles: Sequence[Vehicle]


def enter(connection: Connection, lines: Sequence[Line], at_ms: int) -> list[Vehicle]:
    """Vehicles of a round's lines, added where they are new, refitted where the file says otherwise.

    A retired vehicle is not meant: its name is free, and whatever carries it on the yard now is another.
    """
    return vehicles.load_in_order(connection, [_entered(connection, line, at_ms) for line in lines])


def _entered(connection: Connection, line: Line, at_ms: int) -> int:
    namesakes = [v for v in vehicles.named(connection, line.name) if line.depot in (None, v.depot)]
    if all(vehicle.retired_ms is not None for vehicle in namesakes):
        return vehicles.add(
            connection, line.name, line.rear, line.front, at_ms, type_=line.type, depot=line.depot
        )
    vehicle = vehicles.find(connection, line.name, line.depot)
    for number, bumper in ((names.REAR, line.rear), (names.FRONT, line.front)):
        if vehicle.bumper(number) != bumper:
            vehicles.fit_bumper(connection, vehicle.id, number, bumper, at_ms)
    return vehicle.id


def make(
    connection: Connection,
    members: Sequence[Vehicle],
    at_ms: int,
    *,
    name: str | None = None,
    technician: str | None = None,
) -> Round:
    """Make and store a round of these vehicles, in this order. Raises InputError."""
    _check_members(members)
    name, technician = checked_optional(name, "the round"), checked_optional(technician, "the technician")
    number = _free_number(connection)
    rows = [
        [vehicles.ref_of(connection, vehicle.id), *(_fit(vehicle.bumper(one)) for one in _BUMPERS)]
        for vehicle in members
    ]
    payload = {"number": number, "name": name, "technician": technician, "vehicles": rows}
    made = write.note(connection, "round_made", payload, at_ms)
    return Round(made.key, number, name, technician, at_ms, tuple(members))


def _fit(bumper: Bumper) -> list[int]:
    return [bumper.positions, bumper.class_khz]


def _place(place: int, vehicle: Vehicle) -> dict[str, int]:
    rear, front = vehicle.bumper(names.REAR), vehicle.bumper(names.FRONT)
    return {
        "place": place,
        "rear_positions": rear.positions,
        "rear_class_khz": rear.class_khz,
        "front_positions": front.positions,
        "front_class_khz": front.class_khz,
    }


def parted(members: Sequence[Vehicle]) -> list[Sequence[Vehicle]]:
    """Vehicles in as many parts as rounds are needed for them, in order, the first ones full."""
    starts = range(0, max(len(members), 1), VEHICLES_MAX)
    return [members[start : start + VEHICLES_MAX] for start in starts]


def _check_members(members: Sequence[Vehicle]) -> None:
    seen: set[int] = set()
    for vehicle in members:
        if vehicle.id in seen:
            raise _refused(f"{vehicle.name} is in the round twice.", "Name each vehicle once.")
        if not vehicle.places:
            raise _refused(f"{vehicle.name} has no sensors on either bumper.", "Say what its bumpers carry.")
        if vehicle.retired_ms is not None:
            raise _refused(
                f"{vehicle.name} ({vehicle.number}) is retired: what is read on it would stand on no list.",
                "Add the vehicle that has the name now with `curbtick vehicles add`.",
            )
        seen.add(vehicle.id)
    if not 1 <= len(members) <= VEHICLES_MAX:
        raise _refused(
            f"A round has 1 to {VEHICLES_MAX} vehicles, not {len(members)}.", "Make more than one round."
        )


def _refused(what: str, next_step: str) -> InputError:
    return InputError(what, "No round was made.", next_step)


def _free_number(connection: Connection) -> int:
    """A number drawn at random, so that no other bench gives it to a round of its own."""
    while True:
        number = secrets.randbelow(NUMBER_MAX) + 1
        if connection.scalar(select(tables.rounds.c.id).where(tables.rounds.c.number == number)) is None:
            return number


def load(connection: Connection, number: int | None = None) -> Round:
    """The round of a number, or the newest. Raises InputError."""
    query = (
        select(tables.rounds).order_by(tables.rounds.c.made_ms.desc(), tables.rounds.c.number.desc()).limit(1)
    )
    if number is not None:
        query = query.where(tables.rounds.c.number == number)
    row = connection.execute(query).one_or_none()
    if row is None:
        raise _refused(
            f"There is no round {number}." if number else "There is no round yet.",
            "Make one with `curbtick round make`.",
        )
    columns = tables.round_vehicles.c
    places = connection.execute(
        select(tables.round_vehicles).where(columns.round_id == row.id).order_by(columns.place)
    ).all()
    members = vehicles.load_in_order(connection, [place.vehicle_id for place in places])
    return Round(row.id, row.number, row.name, row.technician, row.made_ms, members)


def payload(round_: Round) -> bytes:
    """The round as the probe takes it."""
    rows = []
    for place, vehicle in enumerate(round_.vehicles, 1):
        row = _place(place, vehicle)
        row["vehicle"] = row.pop("place")
        rows.append(row)
    return codec.pack_round({"round_id": round_.number, "vehicles": rows})


def note_sent(connection: Connection, unique_id: str, number: int, at_ms: int, log_id: int = 0) -> None:
    """Note that a probe was given a round."""
    write.note(connection, "round_sent", {"probe": unique_id, "log_id": log_id, "number": number}, at_ms)


def note_limits(connection: Connection, unique_id: str, revision: int, at_ms: int, log_id: int = 0) -> None:
    """Note that a probe took a limit set."""
    payload = {"probe": unique_id, "log_id": log_id, "revision": revision}
    write.note(connection, "limits_accepted", payload, at_ms)
