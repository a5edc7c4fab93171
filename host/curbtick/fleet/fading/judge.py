"""Which positions of a fleet fade: what they share is taken off, and few of those listed are listed by chance.

The share of the list that chance alone puts there is held at LISTED_FALSE by the step-up rule of Benjamini and Hochberg
(Journal of the Royal Statistical Society B 57 (1995), 289-300). Each position's chance is that of falling so fast where
the true fall is evidence.SMALL_DB_PER_MONTH. Dirt that comes bit by bit is no chance: nothing tells it apart.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.stats import false_discovery_control

from curbtick.fleet.fading import common, evidence, series, shapes
from curbtick.fleet.fading.series import Visit

VISITS_MIN = 6
SPAN_MIN_DAYS = 60.0
# The share of a list that may be there by chance.
LISTED_FALSE = 0.08


@dataclass(frozen=True)
class FleetFading:
    """What a fleet's history says.

    listed: keys of the positions that fade.
    own: by key, (time in ms, level in dBFS) of each visit without what the fleet or the probe shared that week.
    """

    listed: frozenset[Any] = frozenset()
    own: Mapping[Any, Sequence[tuple[int, float]]] = field(default_factory=dict)


def of_fleet(visits_of: Mapping[Any, Sequence[Visit]]) -> FleetFading:
    """Judge a fleet. visits_of: by position, one visit a day in the order of time, since its last repair."""
    table = series.of_visits({key: visits for key, visits in visits_of.items() if visits})
    if not table.keys:
        return FleetFading()
    levels_db = table.levels_db - common.part_db(table)
    own = {
        key: [(visit.at_ms, float(level_db)) for visit, level_db in zip(visits_of[key], row, strict=False)]
        for key, row in zip(table.keys, levels_db, strict=True)
    }
    return FleetFading(_listed(table, levels_db), own)


def _listed(table: series.Series, levels_db: series.Numbers) -> frozenset[Hashable]:
    span_days = np.nanmax(table.days, axis=1) - np.nanmin(table.days, axis=1)
    enough = np.flatnonzero((table.counts >= VISITS_MIN) & (span_days >= SPAN_MIN_DAYS)).tolist()
    if not enough:
        return frozenset()
    told = series.Series(
        [table.keys[row] for row in enough],
        table.days[enough],
        levels_db[enough],
        table.probes[enough],
        table.counts[enough],
    )
    found = evidence.of(told, told.levels_db)
    sure = false_discovery_control(found.chance) <= LISTED_FALSE
    slow = shapes.sinks(told, told.levels_db, sure)
    return frozenset(key for key, fades in zip(told.keys, slow, strict=True) if fades)
