"""What is known of each position's level since its last repair, a visit a day."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from statistics import median
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, bindparam, select

from curbtick.dates import DAY_MS
from curbtick.fleet.fading.series import Visit
from curbtick.store import tables

# More would reach further back than a fading that matters now.
NEWEST = 80

_COLUMNS = tables.readings.c
_OF_PLACE = (
    select(_COLUMNS.time_ms, _COLUMNS.level_cdb, _COLUMNS.probe_id)
    .where(
        _COLUMNS.vehicle_id == bindparam("vehicle_id"),
        _COLUMNS.at_bumper == bindparam("bumper"),
        _COLUMNS.at_position == bindparam("position"),
        _COLUMNS.sort_ms >= bindparam("since_ms"),
        _COLUMNS.time_ms.is_not(None),
        _COLUMNS.level_cdb.is_not(None),
        _COLUMNS.verdict.in_((names.PASS, names.WEAK)),
        _COLUMNS.superseded == 0,
    )
    .order_by(_COLUMNS.sort_ms.desc())
    .limit(NEWEST)
)

Place = tuple[int, int, int]


def of_places(connection: Connection, since_ms: Mapping[Place, int]) -> dict[Place, list[Visit]]:
    """Visits of each place since a time, in order. since_ms: by (vehicle key, bumper, position)."""
    return {place: of_place(connection, place, from_ms) for place, from_ms in since_ms.items()}


def of_place(connection: Connection, place: Place, since_ms: int = 0) -> list[Visit]:
    """A place's visits since a time: the median level of each day's readings that have a time, a level and a verdict.

    Readings that were taken again do not count.
    """
    values = dict(zip(("vehicle_id", "bumper", "position"), place, strict=True), since_ms=since_ms)
    return by_day(connection.execute(_OF_PLACE, values).all()[::-1])


def by_day(rows: Iterable[Sequence[Any]]) -> list[Visit]:
    """(time in ms, level in dBFS * 100, probe) in the order of time, to one visit a day."""
    visits = []
    for _, group in groupby(rows, key=lambda row: row[0] // DAY_MS):
        of_day = list(group)
        at_ms, _, probe_id = of_day[0]
        visits.append(Visit(at_ms, median(level_cdb for _, level_cdb, _ in of_day) / 100, probe_id))
    return visits
