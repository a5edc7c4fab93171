"""A position's past on one axis: its readings, the limits they were judged by, and what was done to it."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from curbtick_wire import names
from sqlalchemy import BindParameter, Connection, bindparam, select

from curbtick.fleet import readings
from curbtick.fleet.fading import judge, trend, visits
from curbtick.fleet.fading.judge import FleetFading
from curbtick.fleet.fading.trend import Trend
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work.plans import STEP_WORDS
from curbtick.limits import sets
from curbtick.limits.sets import LimitSet
from curbtick.store import tables

NEWEST = 40
# A step after which the level says nothing any more about the sensor before.
FRESH_START = frozenset(("replace", "clean", "repair", "swap"))


@dataclass(frozen=True)
class Mark:
    """Something that happened to a position: a step of the work list, a swap, a refit, other limits."""

    at_ms: int
    kind: str
    words: str


@dataclass(frozen=True)
class PlacedMark:
    """A mark with the positions of a bumper it concerns; position 0 concerns them all."""

    bumper: int
    positions: frozenset[int]
    mark: Mark

    def is_at(self, bumper: int, position: int) -> bool:
        """Whether the mark concerns a position."""
        return self.bumper == bumper and bool(self.positions & {0, position})


@dataclass(frozen=True)
class PlaceHistory:
    """Readings oldest first (the newest NEWEST of them), marks in order, and the trend since the last
    repair.
    """

    vehicle_id: int
    bumper: int
    position: int
    readings: Sequence[Reading]
    marks: Sequence[Mark]
    trend: Trend | None


def fading_of(connection: Connection, vehicles: Sequence[Vehicle]) -> FleetFading:
    """Judge which positions of these vehicles fade, each since its last repair."""
    since_ms = {}
    for vehicle in vehicles:
        marks = marks_of(connection, vehicle.id)
        for place in vehicle.places:
            since_ms[vehicle.id, *place] = _fresh_ms(mark.mark for mark in marks if mark.is_at(*place))
    return judge.of_fleet(visits.of_places(connection, since_ms))


def _fresh_ms(marks: Iterable[Mark]) -> int:
    """Since when a position's levels are those of the sensor that it has now."""
    return max((mark.at_ms for mark in marks if mark.kind in FRESH_START), default=0)


def of_vehicle(
    connection: Connection, vehicle: Vehicle, limit_sets: Mapping[int, LimitSet], fading: FleetFading
) -> list[PlaceHistory]:
    """The history of every position of a vehicle. limit_sets: every set by revision."""
    marks = marks_of(connection, vehicle.id)
    return [_of_place(connection, vehicle.id, place, marks, limit_sets, fading) for place in vehicle.places]


def _of_place(
    connection: Connection,
    vehicle_id: int,
    place: tuple[int, int],
    vehicle_marks: Sequence[PlacedMark],
    limit_sets: Mapping[int, LimitSet],
    fading: FleetFading,
) -> PlaceHistory:
    newest = readings.of_place(connection, vehicle_id, *place, newest=NEWEST)
    mine = [mark.mark for mark in vehicle_marks if mark.is_at(*place)]
    key = (vehicle_id, *place)
    pass_db = _pass_db(newest[-1], limit_sets) if newest else None
    ordered = sorted([*mine, *_limit_changes(newest, limit_sets)], key=lambda mark: mark.at_ms)
    found = trend.of_visits(fading.own.get(key, ()), pass_db, key in fading.listed)
    return PlaceHistory(vehicle_id, *place, newest, ordered, found)


def limits_of(reading: Reading, limit_sets: Mapping[int, LimitSet]) -> dict[str, int] | None:
    """The class limits a reading was judged by; None where the set is not known to this history."""
    limit_set = limit_sets.get(reading.values["limits_revision"])
    return None if limit_set is None else sets.for_class(limit_set, reading.class_khz)


def _pass_db(reading: Reading, limit_sets: Mapping[int, LimitSet]) -> float | None:
    limits = limits_of(reading, limit_sets)
    return None if limits is None else limits["pass_cdb"] / 100


def _judged_by(reading: Reading) -> tuple[int, int]:
    return reading.values["limits_revision"], reading.class_khz


def _limit_changes(newest: Sequence[Reading], limit_sets: Mapping[int, LimitSet]) -> list[Mark]:
    """A mark at the first reading judged by other limits than the one before."""
    marks = []
    for before, after in pairwise(newest):
        if _judged_by(before) == _judged_by(after):
            continue
        if limits_of(before, limit_sets) != limits_of(after, limit_sets):
            revision = after.values["limits_revision"]
            marks.append(Mark(after.sort_ms, "limits", f"Limits of revision {revision}"))
    return marks


def marks_of(connection: Connection, vehicle_id: int) -> list[PlacedMark]:
    """Steps, swaps and refits of a vehicle."""
    values = {"vehicle_id": vehicle_id}
    refits: list[PlacedMark] = []
    for row, before in pairwise(reversed(connection.execute(_REFITS, values).all())):
        if row.bumper == before.bumper:
            refits.append(_refit(row))
    steps = [
        PlacedMark(row.bumper, frozenset((row.position,)), Mark(row.at_ms, row.step, _step_words(row)))
        for row in connection.execute(_STEPS, values)
    ]
    return steps + [_swap(row) for row in connection.execute(_SWAPS, values)] + refits


_WANTED: BindParameter[int] = bindparam("vehicle_id")
_STEPS = select(tables.steps).where(
    tables.steps.c.vehicle_id == _WANTED, tables.steps.c.opened_by_id.is_not(None)
)
_SWAPS = select(tables.swaps).where(tables.swaps.c.vehicle_id == _WANTED, tables.swaps.c.is_undone.is_(False))
_REFITS = (
    select(tables.bumpers)
    .where(tables.bumpers.c.vehicle_id == _WANTED)
    .order_by(tables.bumpers.c.bumper, tables.bumpers.c.place)
)


def _step_words(row: Any) -> str:
    done = STEP_WORDS.get(row.step, row.step)
    words = done if row.note is None else f"{done}: {row.note}"
    return f"{words} ({row.by})" if row.by else words


def _swap(row: Any) -> PlacedMark:
    a, b = row.position_a, row.position_b
    words = f"Sensors of positions {a} and {b} changed places"
    return PlacedMark(row.bumper, frozenset((a, b)), Mark(row.at_ms, "swap", words))


def _refit(row: Any) -> PlacedMark:
    words = (
        f"{names.BUMPERS[row.bumper].capitalize()} bumper refitted: {row.positions} sensors, "
        f"class {row.class_khz or 'custom'}"
    )
    return PlacedMark(row.bumper, frozenset((0,)), Mark(row.from_ms, "refit", words))
