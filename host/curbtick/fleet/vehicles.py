"""The fleet's vehicles: what each is called, what its bumpers carry, and since when."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from curbtick_wire import classes, names
from sqlalchemy import Connection, func, or_, select, update

from curbtick.errors import InputError
from curbtick.numbers import whole
from curbtick.store import tables
from curbtick.store.history import inserted_key

CUSTOM_RANGE_KHZ = (30, 80)


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
    same = [v for v in named(connection, name) if v.depot == depot and v.retired_ms is None]
    if same:
        raise InputError(
            f"There already is a vehicle {name}" + (f" in {depot}." if depot else "."),
            "Nothing was changed.",
            "Use another name, or give the depot that tells the two apart.",
        )
    row = {"name": name, "type": type_, "depot": depot, "is_reference": is_reference, "created_ms": at_ms}
    key = inserted_key(connection.execute(tables.vehicles.insert().values(**row)))
    for number, bumper in ((names.REAR, rear), (names.FRONT, front)):
        fit_bumper(connection, key, number, bumper, at_ms)
    return key


def fit_bumper(connection: Connection, vehicle_id: int, number: int, bumper: Bumper, at_ms: int) -> None:
    """Note what a bumper carries from a time on; what it carried before stays known."""
    good = checked_bumper(bumper.positions, bumper.class_khz)
    connection.execute(
        tables.bumpers.insert().values(
            vehicle_id=vehicle_id,
            bumper=number,
            positions=good.positions,
            class_khz=good.class_khz,
            from_ms=at_ms,
        )
    )


def rename(connection: Connection, vehicle_id: int, name: str, at_ms: int) -> None:
    """Give a vehicle a new name; the old one still finds it."""
    old = connection.scalar(select(tables.vehicles.c.name).where(tables.vehicles.c.id == vehicle_id))
    connection.execute(tables.vehicle_names.insert().values(vehicle_id=vehicle_id, name=old, until_ms=at_ms))
    connection.execute(_update(vehicle_id).values(name=name))


def retire(connection: Connection, vehicle_id: int, at_ms: int) -> None:
    """Take a vehicle out of the overview; its history stays."""
    connection.execute(_update(vehicle_id).values(retired_ms=at_ms))


def _update(vehicle_id: int) -> Any:
    return update(tables.vehicles).where(tables.vehicles.c.id == vehicle_id)


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
    key = whole(name[1:]) if name.startswith("#") else None
    if key is not None:
        namesakes = load(connection, [key])
    else:
        namesakes = [v for v in named(connection, name) if depot is None or v.depot == depot]
    in_service = [v for v in namesakes if v.retired_ms is None] or namesakes
    if not in_service:
        raise InputError(
            f"There is no vehicle {name}.",
            "Nothing was changed.",
            "`curbtick vehicles` lists them; a number is written #12.",
        )
    if len(in_service) > 1:
        which = ", ".join(f"#{v.id} in {v.depot or 'no depot'}" for v in in_service)
        raise InputError(
            f"{len(in_service)} vehicles are called {name}: {which}.",
            "Nothing was changed.",
            "Name the one you mean by its number, such as " + f"'#{in_service[0].id}'.",
        )
    return in_service[0]


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
    query = select(tables.bumpers).order_by(columns.from_ms, columns.id)
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
        .order_by(columns.from_ms.desc(), columns.id.desc())
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
