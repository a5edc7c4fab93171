"""How surely a level falls: a straight line for each position, and the chance of as steep a one without any fading.

The spread about the line is each position's own, drawn towards the fleet's (Smyth, Statistical Applications in Genetics
and Molecular Biology 3 (2004), article 3, moderated t); how far noise remembers from visit to visit is the fleet's, for
some dozens of visits do not tell it (the bias of a detrended series is taken off: Marriott and Pope, Biometrika 41
(1954), 390-402).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from curbtick.fleet.fading.series import WEEK_DAYS, Mask, Numbers, Series
from curbtick.limits.robust import MAD_TO_SIGMA

DAYS_A_MONTH = 30.4375
# A slower fall matters to nobody: a year of it is what a seat repeats.
SMALL_DB_PER_MONTH = 0.05
# A level further off its line than this many of its spreads counts as if it lay there.
CLIP_SIGMAS = 3.0
# What is known of a fleet's noise before there are data: in visits, and in positions.
PRIOR_VISITS = 8
PRIOR_MEMORY = 0.3
PRIOR_POSITIONS = 10
# Fewer visits tell nothing of how far noise remembers.
MEMORY_VISITS = 8
CHUNK = 500


class Evidence(NamedTuple):
    """For each position: rate_db_per_month of its line, error_db_per_month of that (one standard error), and chance.

    chance: of so steep a fall or a steeper one where the level falls by SMALL_DB_PER_MONTH only, 0 to 1.
    """

    rate_db_per_month: Numbers
    error_db_per_month: Numbers
    chance: Numbers


def of(series: Series, levels_db: Numbers) -> Evidence:
    """Judge each position's levels, (positions, visits); all positions have three visits or more."""
    there = series.there
    clipped = clip(series, levels_db)
    slope, rest = line(series.days, clipped, there)
    freedom = series.counts - 2.0
    spread = np.sum(np.where(there, rest, 0.0) ** 2, axis=1)
    prior = float(np.median(spread / freedom))
    variance = (spread + PRIOR_VISITS * prior) / (freedom + PRIOR_VISITS)
    error = np.sqrt(variance * _inflation(series, memory_per_week(series, rest)))
    excess = (-slope * DAYS_A_MONTH - SMALL_DB_PER_MONTH) / np.maximum(error * DAYS_A_MONTH, 1e-9)
    return Evidence(slope * DAYS_A_MONTH, error * DAYS_A_MONTH, stdtr(freedom + PRIOR_VISITS, -excess))


def clip(series: Series, levels_db: Numbers) -> Numbers:
    """Levels, those far off a resistant line drawn to its edge: through the medians of the first and the last third."""
    third = np.maximum(series.counts // 3, 1)[:, None]
    column = np.arange(levels_db.shape[1])[None, :]
    first = np.where(column < third, levels_db, np.nan)
    last = np.where((column >= series.counts[:, None] - third) & series.there, levels_db, np.nan)
    run = np.nanmedian(np.where(np.isnan(last), np.nan, series.days), axis=1) - np.nanmedian(
        np.where(np.isnan(first), np.nan, series.days), axis=1
    )
    slope = (np.nanmedian(last, axis=1) - np.nanmedian(first, axis=1)) / np.maximum(run, 1.0)
    level = levels_db - slope[:, None] * series.days
    middle = np.nanmedian(level, axis=1)[:, None]
    sigma = MAD_TO_SIGMA * np.nanmedian(np.abs(level - middle), axis=1)[:, None]
    reach = CLIP_SIGMAS * np.maximum(sigma, np.median(sigma))
    kept: Numbers = np.clip(level, middle - reach, middle + reach) + slope[:, None] * series.days
    return kept


def line(days: Numbers, levels_db: Numbers, there: Mask) -> tuple[Numbers, Numbers]:
    """(slope in dB a day, what each level lies above the line) by least squares, row by row."""
    x, y = centred(days, there), centred(levels_db, there)
    slope = np.sum(x * y, axis=1) / np.sum(x * x, axis=1)
    return slope, y - slope[:, None] * x


def centred(values: Numbers, there: Mask) -> Numbers:
    """Values less their row's mean; 0 where there are none."""
    kept = np.where(there, values, 0.0)
    mean = kept.sum(axis=1) / there.sum(axis=1)
    return np.where(there, kept - mean[:, None], 0.0)


def memory_per_week(series: Series, rest: Numbers) -> float:
    """How much of a deviation is left a week later, 0 to 0.9: the fleet's, over all of its positions."""
    within = np.where(series.there, rest, 0.0)[series.counts >= MEMORY_VISITS]
    power = float(np.sum(within**2))
    if not power:
        return PRIOR_MEMORY
    counts = series.counts[series.counts >= MEMORY_VISITS]
    one_later = float(np.sum(within[:, :-1] * within[:, 1:])) / power
    seen = (one_later + float(np.mean(2 / counts))) / (1 - float(np.mean(4 / counts)))
    known = len(counts)
    per_visit = (known * max(seen, 0.0) + PRIOR_POSITIONS * PRIOR_MEMORY) / (known + PRIOR_POSITIONS)
    gap_weeks = float(np.nanmedian(np.diff(series.days, axis=1))) / WEEK_DAYS
    return float(min(per_visit ** (1 / max(gap_weeks, 0.1)), 0.9))


def _inflation(series: Series, memory: float) -> Numbers:
    """Variance of a slope in units of the noise's, (dB a day)^2 for 1 dB^2: x'Rx / (x'x)^2, R = memory^weeks apart."""
    found = np.empty(len(series.counts))
    for start in range(0, len(found), CHUNK):
        rows = slice(start, start + CHUNK)
        x = centred(series.days[rows], series.there[rows])
        apart: NDArray[np.float64] = np.abs(x[:, :, None] - x[:, None, :]) / WEEK_DAYS
        correlated = memory**apart
        both = np.einsum("ki,kij,kj->k", x, correlated, x)
        found[rows] = both / np.sum(x * x, axis=1) ** 2
    return found
