"""Rounds: the ordered vehicles of a day, as the probe takes them and as the technician's sheet shows them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from curbtick_wire import codec, names, records, settings
from sqlalchemy import Connection, func, select

from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.lines import Line
from curbtick.fleet.vehicles import Vehicle
from curbtick.naming import checked_optional
from curbtick.store import given, tables
from curbtick.store.history import inserted_key

NUMBER_MAX = records.NONE_U32
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
    number = _next_number(connection)
    row = {"number": number, "name": name, "technician": technician, "made_ms": at_ms}
    key = inserted_key(connection.execute(tables.rounds.insert().values(**row)))
    connection.execute(
        tables.round_vehicles.insert(),
        [
            {"round_id": key, "vehicle_id": vehicle.id, **_place(place, vehicle)}
            for place, vehicle in enumerate(members, 1)
        ],
    )
    return Round(key, number, name, technician, at_ms, tuple(members))


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
                f"{vehicle.name} (#{vehicle.id}) is retired: what is read on it would stand on no list.",
                "Add the vehicle that has the name now with `curbtick vehicles add`.",
            )
        seen.add(vehicle.id)
    if not 1 <= len(members) <= VEHICLES_MAX:
        raise _refused(
            f"A round has 1 to {VEHICLES_MAX} vehicles, not {len(members)}.", "Make more than one round."
        )


def _refused(what: str, next_step: str) -> InputError:
    return InputError(what, "No round was made.", next_step)


def _next_number(connection: Connection, taken: int = 0) -> int:
    """A number that no round here has, nor any that a pulled probe got, from another bench's history for one.

    taken: a number that is known to be in use besides.
    """
    event = tables.events.c
    highest_received = select(func.max(event.value)).where(event.event == given.RECEIVED)
    own = select(func.max(tables.rounds.c.number))
    highest = max(taken, *(connection.scalar(query) or 0 for query in (own, highest_received)))
    if highest >= NUMBER_MAX:
        raise _refused(f"All {NUMBER_MAX} numbers for rounds are used up.", "Begin a new history with --db.")
    return int(highest) + 1


def is_anothers(connection: Connection, probe_id: int, number: int, in_hand: int) -> bool:
    """Whether a probe has got a round of this number, and not from this history.

    in_hand: number of the round that the probe holds, 0 for none.
    """
    if given.spans(connection, probe_id, (number,), ()):
        return False
    event = tables.events.c
    query = select(event.id).where(event.probe_id == probe_id, event.event == given.RECEIVED)
    return in_hand == number or connection.scalar(query.where(event.value == number).limit(1)) is not None


def renumbered(connection: Connection, round_: Round, taken: int, at_ms: int) -> Round:
    """The same round once more, under a number that is free; taken: one that is in use on the probe."""
    number = _next_number(connection, taken)
    row = {"number": number, "name": round_.name, "technician": round_.technician, "made_ms": at_ms}
    key = inserted_key(connection.execute(tables.rounds.insert().values(**row)))
    members = select(tables.round_vehicles).where(tables.round_vehicles.c.round_id == round_.id)
    rows = [{**member, "round_id": key} for member in connection.execute(members).mappings()]
    connection.execute(tables.round_vehicles.insert(), rows)
    return replace(round_, id=key, number=number, made_ms=at_ms)


def load(connection: Connection, number: int | None = None) -> Round:
    """The round of a number, or the newest. Raises InputError."""
    query = select(tables.rounds).order_by(tables.rounds.c.number.desc()).limit(1)
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


def note_sent(
    connection: Connection, probe_id: int, what: str, number: int, at_ms: int, above_seq: int = 0
) -> None:
    """Note that a probe took a round or a limit set; what is "round" or "limits".

    above_seq: the highest record that the probe had before it got the round (store/given.py).
    """
    row = {"probe_id": probe_id, "what": what, "number": number, "at_ms": at_ms, "above_seq": above_seq}
    connection.execute(tables.sends.insert().values(**row))
