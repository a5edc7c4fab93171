"""What many positions share: the swing of the seasons, and a probe that drifts.

A level is its position's own, plus what the whole fleet has in that week, plus what the probe adds in that week: an
additive fit by medians, repeated (Tukey, Exploratory Data Analysis, 1977, chapter 11, "median polish"). A few fading
positions do not move the median of many.
"""

import numpy as np
from numpy.typing import NDArray

from curbtick.fleet.fading.series import WEEK_DAYS, Numbers, Series

ROUNDS = 6
# A median over fewer positions follows each of them too closely: a vehicle alone has eight.
LEAST = 12


def part_db(series: Series) -> Numbers:
    """(positions, visits) of dB that a visit shares with others of its week and probe; 0 where they are too few."""
    there = series.there
    levels_db = series.levels_db[there]
    rows = np.nonzero(there)[0]
    weeks = (series.days[there] // WEEK_DAYS).astype(np.int64)
    probes = series.probes[there]
    of_week = np.unique(weeks, return_inverse=True)[1]
    of_probe = np.unique(np.stack([weeks, probes]), axis=1, return_inverse=True)[1].ravel()
    shared_db = np.zeros(len(levels_db))
    for _ in range(ROUNDS):
        rest_db = levels_db - _medians(rows, levels_db - shared_db, 1)
        shared_db = _medians(of_week, rest_db, LEAST)
        shared_db += _medians(of_probe, rest_db - shared_db, LEAST)
    found = np.zeros(series.levels_db.shape)
    found[there] = shared_db - np.median(shared_db) if len(shared_db) else shared_db
    return found


def _medians(groups: NDArray[np.int64], values: Numbers, least: int) -> Numbers:
    """For each value the median of its group; 0 for a group of fewer than the least."""
    order = np.lexsort((values, groups))
    ordered = groups[order]
    starts = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    counts = np.diff(np.r_[starts, len(ordered)])
    low, high = values[order[starts + (counts - 1) // 2]], values[order[starts + counts // 2]]
    medians = np.where(counts >= least, (low + high) / 2, 0.0)
    spread = np.empty(len(values))
    spread[order] = np.repeat(medians, counts)
    return spread
