"""A position's past on one axis: its readings, the limits they were judged by, and what was done to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlalchemy import Connection, select

from curbtick.fleet import readings, trend
from curbtick.fleet.readings import Reading
from curbtick.fleet.trend import Trend
from curbtick.fleet.worklist import STEP_WORDS
from curbtick.limits import sets
from curbtick.limits.sets import LimitSet
from curbtick.store import tables
from curbtick_wire import names

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


def of_place(
    connection: Connection, vehicle_id: int, bumper: int, position: int, limit_sets: Mapping[int, LimitSet]
) -> PlaceHistory:
    """The history of one position. limit_sets: every set by revision."""
    found = readings.of_place(connection, vehicle_id, bumper, position, NEWEST)
    marks = marks_of(connection, vehicle_id, bumper, position) + _limit_changes(found, limit_sets)
    fresh_ms = max((mark.at_ms for mark in marks if mark.kind in FRESH_START), default=0)
    points = trend.visits(found, fresh_ms)
    pass_db = _pass_db(found[-1], limit_sets) if found else None
    ordered = sorted(marks, key=lambda mark: mark.at_ms)
    return PlaceHistory(vehicle_id, bumper, position, found, ordered, trend.of_visits(points, pass_db))


def limits_of(reading: Reading, limit_sets: Mapping[int, LimitSet]) -> dict[str, int] | None:
    """The class limits a reading was judged by; None where the set is not known to this history."""
    limit_set = limit_sets.get(reading.values["limits_revision"])
    return None if limit_set is None else sets.for_class(limit_set, reading.class_khz)


def _pass_db(reading: Reading, limit_sets: Mapping[int, LimitSet]) -> float | None:
    limits = limits_of(reading, limit_sets)
    return None if limits is None else limits["pass_cdb"] / 100


def _limit_changes(found: Sequence[Reading], limit_sets: Mapping[int, LimitSet]) -> list[Mark]:
    """A mark at the first reading judged by other limits than the one before."""
    marks = []
    for before, after in pairwise(found):
        if limits_of(before, limit_sets) != limits_of(after, limit_sets):
            revision = after.values["limits_revision"]
            marks.append(Mark(after.sort_ms, "limits", f"Limits of revision {revision}"))
    return marks


def marks_of(connection: Connection, vehicle_id: int, bumper: int, position: int) -> list[Mark]:
    """Steps, swaps and refits of a position; steps of the whole bumper count too."""
    return (
        _steps(connection, vehicle_id, bumper, position)
        + _swaps(connection, vehicle_id, bumper, position)
        + _refits(connection, vehicle_id, bumper)
    )


def _steps(connection: Connection, vehicle_id: int, bumper: int, position: int) -> list[Mark]:
    finding, step = tables.findings.c, tables.steps.c
    query = (
        select(step.at_ms, step.step, step.by, step.note)
        .join(tables.findings, finding.id == step.finding_id)
        .where(
            finding.vehicle_id == vehicle_id, finding.bumper == bumper, finding.position.in_((0, position))
        )
    )
    return [Mark(row.at_ms, row.step, _step_words(row)) for row in connection.execute(query)]


def _step_words(row: Any) -> str:
    words = STEP_WORDS[row.step] if row.note is None else f"{STEP_WORDS[row.step]}: {row.note}"
    return f"{words} ({row.by})" if row.by else words


def _swaps(connection: Connection, vehicle_id: int, bumper: int, position: int) -> list[Mark]:
    columns = tables.swaps.c
    query = select(tables.swaps).where(
        columns.vehicle_id == vehicle_id,
        columns.bumper == bumper,
        columns.undone_ms.is_(None),
        (columns.position_a == position) | (columns.position_b == position),
    )
    return [
        Mark(row.at_ms, "swap", f"Sensors of positions {row.position_a} and {row.position_b} changed places")
        for row in connection.execute(query)
    ]


def _refits(connection: Connection, vehicle_id: int, bumper: int) -> list[Mark]:
    columns = tables.bumpers.c
    query = select(tables.bumpers).where(columns.vehicle_id == vehicle_id, columns.bumper == bumper)
    rows = connection.execute(query.order_by(columns.from_ms, columns.id)).all()
    return [
        Mark(
            row.from_ms,
            "refit",
            f"{names.BUMPERS[bumper].capitalize()} bumper refitted: "
            f"{row.positions} sensors, class {row.class_khz or 'custom'}",
        )
        for row in rows[1:]
    ]
