"""The fleet's vehicles: what each is called, what its bumpers carry, and since when."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from curbtick_wire import classes, names
from sqlalchemy import Connection, func, or_, select

from curbtick.errors import InputError
from curbtick.naming import checked_name, checked_optional
from curbtick.store import tables
from curbtick.store.history import write

CUSTOM_RANGE_KHZ = (30, 80)
_NUMBER = re.compile("#[0-9a-fA-F]{4,16}")
_SHOWN = 6


@dataclass(frozen=True)
class Bumper:
    """What a bumper carries: positions 0 (no sensors) to 6, class in kHz (0 for a custom class)."""

    positions: int
    class_khz: int


NO_SENSORS = Bumper(0, 0)


@dataclass(frozen=True)
class Vehicle:
    """A vehicle as it stands now; bumpers by the numbers of `names.BUMPERS`."""

    id: int
    name: str
    type: str | None = None
    depot: str | None = None
    is_reference: bool = False
    retired_ms: int | None = None
    bumpers: Mapping[int, Bumper] = field(default_factory=dict)

    @property
    def number(self) -> str:
        """What tells it from every other vehicle, short enough to be written down, such as `#3fa9c1`."""
        return f"#{number_of(self.id)[:_SHOWN]}"

    def bumper(self, number: int) -> Bumper:
        """What a bumper carries now, nothing where none is known."""
        return self.bumpers.get(number, NO_SENSORS)

    @property
    def places(self) -> list[tuple[int, int]]:
        """Every (bumper, position) that carries a sensor."""
        return [
            (number, position)
            for number in range(len(names.BUMPERS))
            for position in range(1, self.bumper(number).positions + 1)
        ]


def checked_bumper(positions: int, class_khz: int) -> Bumper:
    """A bumper whose values make sense. Raises InputError."""
    if not 0 <= positions <= names.BUMPER_POSITIONS_MAX:
        raise InputError(
            f"A bumper has no {positions} positions.",
            "Nothing was changed.",
            f"Give 0 to {names.BUMPER_POSITIONS_MAX} positions.",
        )
    if positions and not classes.is_class(class_khz):
        raise InputError(
            f"There is no sensor class of {class_khz} kHz.",
            "Nothing was changed.",
            f"Give one of {classes.class_list()}, or 0 for the custom class.",
        )
    return Bumper(positions, class_khz if positions else 0)


def add(
    connection: Connection,
    name: str,
    rear: Bumper,
    front: Bumper,
    at_ms: int,
    *,
    type_: str | None = None,
    depot: str | None = None,
    is_reference: bool = False,
) -> int:
    """Add a vehicle and return its key. A name already in use within the depot raises InputError."""
    name, type_, depot = (
        checked_name(name, "a vehicle"),
        checked_optional(type_, "the type"),
        checked_optional(depot, "the depot"),
    )
    _refuse_taken(connection, name, depot)
    payload = {"name": name, "type": type_, "depot": depot, "is_reference": is_reference}
    fits = {"rear": _fit(rear), "front": _fit(front)}
    return write.note(connection, "vehicle_entered", {**payload, **fits}, at_ms).key


def _refuse_taken(connection: Connection, name: str, depot: str | None, besides: int | None = None) -> None:
    now = [v for v in named(connection, name) if v.name.lower() == name.lower()]
    namesakes = [v for v in now if v.depot == depot and v.retired_ms is None]
    if any(vehicle.id != besides for vehicle in namesakes):
        raise InputError(
            f"There already is a vehicle {name}" + (f" in {depot}." if depot else "."),
            "Nothing was changed.",
            "Use another name, or give the depot that tells the two apart.",
        )


def _fit(bumper: Bumper) -> list[int]:
    good = checked_bumper(bumper.positions, bumper.class_khz)
    return [good.positions, good.class_khz]


def fit_bumper(connection: Connection, vehicle_id: int, number: int, bumper: Bumper, at_ms: int) -> None:
    """Note what a bumper carries from a time on; what it carried before stays known."""
    payload = {"vehicle": ref_of(connection, vehicle_id), "bumper": number, "fit": _fit(bumper)}
    write.note(connection, "vehicle_refitted", payload, at_ms)


def rename(connection: Connection, vehicle_id: int, name: str, at_ms: int) -> None:
    """Give a vehicle a new name; the old one still finds it.

    Raises InputError for a name in use within the depot, and as checked_name.
    """
    name = checked_name(name, "a vehicle")
    (vehicle,) = load(connection, [vehicle_id])
    _refuse_taken(connection, name, vehicle.depot, besides=vehicle_id)
    payload = {"vehicle": ref_of(connection, vehicle_id), "name": name}
    write.note(connection, "vehicle_renamed", payload, at_ms)


def retire(connection: Connection, vehicle_id: int, at_ms: int) -> None:
    """Take a vehicle out of the overview; its history stays."""
    write.note(connection, "vehicle_retired", {"vehicle": ref_of(connection, vehicle_id)}, at_ms)


def say_same(connection: Connection, vehicle_id: int, other_id: int, at_ms: int) -> None:
    """Note that two vehicles, entered at two benches, are one and the same. Raises InputError for one vehicle."""
    if vehicle_id == other_id:
        raise InputError(
            "Both are the same vehicle already.", "Nothing was changed.", "Name two different ones."
        )
    refs = {"vehicle": ref_of(connection, vehicle_id), "other": ref_of(connection, other_id)}
    write.note(connection, "same_as", refs, at_ms)


def alike(connection: Connection) -> list[tuple[Vehicle, Vehicle]]:
    """Vehicles in service that bear one name: the same, entered at two benches, unless a person says otherwise."""
    by_name: dict[tuple[str, str | None], list[Vehicle]] = {}
    for vehicle in load(connection):
        if vehicle.retired_ms is None:
            by_name.setdefault((vehicle.name.lower(), vehicle.depot), []).append(vehicle)
    return [(some[0], other) for some in by_name.values() for other in some[1:]]


def ref_of(connection: Connection, vehicle_id: int) -> str:
    """How entries name a vehicle: by the entry that entered it."""
    query = select(tables.vehicles.c.digest).where(tables.vehicles.c.id == vehicle_id)
    return bytes(connection.execute(query).scalar_one()).hex()


def named(connection: Connection, name: str) -> list[Vehicle]:
    """Vehicles called by a name now, or else formerly."""
    columns = tables.vehicles.c
    now = select(columns.id).where(func.lower(columns.name) == name.lower())
    former = select(tables.vehicle_names.c.vehicle_id).where(
        func.lower(tables.vehicle_names.c.name) == name.lower()
    )
    for query in (now, former):
        keys = list(connection.execute(query).scalars())
        if keys:
            return load(connection, keys)
    return []


def find(connection: Connection, name: str, depot: str | None = None) -> Vehicle:
    """The one vehicle meant by a name, a former name, or `#` and its number.

    Raises InputError when there is none, or when two carry the name and no depot tells them apart.
    """
    if _NUMBER.fullmatch(name):
        namesakes = _numbered(connection, name[1:].lower())
    else:
        namesakes = [v for v in named(connection, name) if depot is None or v.depot == depot]
    in_service = [v for v in namesakes if v.retired_ms is None] or namesakes
    if not in_service:
        raise InputError(
            f"There is no vehicle {name}.",
            "Nothing was changed.",
            "`curbtick vehicles` lists them; a number is written #3fa9c1.",
        )
    if len(in_service) > 1:
        which = ", ".join(f"{v.number} in {v.depot or 'no depot'}" for v in in_service)
        raise InputError(
            f"{len(in_service)} vehicles are called {name}: {which}.",
            "Nothing was changed.",
            "Name the one you mean by its number, such as " + f"'{in_service[0].number}'.",
        )
    return in_service[0]


def _numbered(connection: Connection, digits: str) -> list[Vehicle]:
    """Vehicles whose number begins so."""
    keys = connection.execute(select(tables.vehicles.c.id)).scalars()
    return load(connection, [key for key in keys if number_of(key).startswith(digits)])


def number_of(key: int) -> str:
    """A vehicle's number as it is written after `#`: the same at every bench. Its beginning is enough to name it."""
    return f"{key:016x}"


def load(connection: Connection, keys: Iterable[int] | None = None) -> list[Vehicle]:
    """Vehicles by key (all of them when None), with their bumpers as they stand now, by name."""
    columns = tables.vehicles.c
    query = select(tables.vehicles).order_by(func.lower(columns.name), columns.id)
    if keys is not None:
        query = query.where(columns.id.in_(list(keys)))
    rows = connection.execute(query).all()
    bumpers_of = _bumpers(connection, None if keys is None else [row.id for row in rows])
    return [
        Vehicle(
            row.id,
            row.name,
            row.type,
            row.depot,
            row.is_reference,
            row.retired_ms,
            bumpers_of.get(row.id, {}),
        )
        for row in rows
    ]


def _bumpers(connection: Connection, keys: list[int] | None) -> dict[int, dict[int, Bumper]]:
    columns = tables.bumpers.c
    query = select(tables.bumpers).order_by(columns.vehicle_id, columns.place)
    if keys is not None:
        query = query.where(columns.vehicle_id.in_(keys))
    by_vehicle: dict[int, dict[int, Bumper]] = {}
    for row in connection.execute(query):
        by_vehicle.setdefault(row.vehicle_id, {})[row.bumper] = Bumper(row.positions, row.class_khz)
    return by_vehicle


def class_at(connection: Connection, vehicle_id: int, number: int, at_ms: int) -> int:
    """Sensor class a bumper carried at a time, in kHz; 0 when none is known."""
    columns = tables.bumpers.c
    class_khz = connection.scalar(
        select(columns.class_khz)
        .where(columns.vehicle_id == vehicle_id, columns.bumper == number)
        .where(or_(columns.from_ms <= at_ms, columns.from_ms == _first_fit(vehicle_id, number)))
        .order_by(columns.from_ms.desc(), columns.place.desc())
        .limit(1)
    )
    return int(class_khz or 0)


def _first_fit(vehicle_id: int, number: int) -> Any:
    columns = tables.bumpers.c
    mine = (columns.vehicle_id == vehicle_id, columns.bumper == number)
    return select(func.min(columns.from_ms)).where(*mine).scalar_subquery()


def in_use(connection: Connection) -> list[Vehicle]:
    """Vehicles in service, and the retired ones that were read afterwards: a name outlives its vehicle."""
    read_keys = _read_since_retired(connection)
    return [vehicle for vehicle in load(connection) if vehicle.retired_ms is None or vehicle.id in read_keys]


def _read_since_retired(connection: Connection) -> set[int]:
    columns, reading = tables.vehicles.c, tables.readings.c
    later = select(reading.id).where(reading.vehicle_id == columns.id, reading.sort_ms > columns.retired_ms)
    retired = select(columns.id).where(columns.retired_ms.is_not(None), later.exists())
    return set(connection.execute(retired).scalars())


def retired_namesakes(connection: Connection, vehicle: Vehicle) -> list[Vehicle]:
    """Retired vehicles that had the name which a vehicle has now."""
    same = named(connection, vehicle.name)
    return [other for other in same if other.retired_ms is not None and other.id != vehicle.id]


def load_in_order(connection: Connection, keys: list[int]) -> list[Vehicle]:
    """Vehicles in the order of their keys; a key given twice comes twice."""
    by_key = {vehicle.id: vehicle for vehicle in load(connection, keys)}
    return [by_key[key] for key in keys]
