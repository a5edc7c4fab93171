"""A position's slope, and the day on which it will cross the pass limit, where that is known.

Theil-Sen slope with its distribution-free interval (Sen, Journal of the American Statistical Association 63 (1968),
1379-1389), so that one bad reading does not make a trend. A date is given only where the position is listed as fading
(judge.of_fleet), on enough visits over enough time, and no further ahead than twice the time looked back on.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist, median

import numpy as np

from curbtick.dates import DAY_MS
from curbtick.fleet.fading.evidence import DAYS_A_MONTH
from curbtick.fleet.fading.judge import SPAN_MIN_DAYS, VISITS_MIN

LOOK_AHEAD = 2.0
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Trend:
    """A position's level over time.

    visits, span_days: what the trend rests on.
    rate_db_per_month: slope of the level.
    low_db_per_month, high_db_per_month: the bounds of its 95 % interval.
    level_now_db: the level of the fitted line at the last visit.
    crossing_ms: when the level is expected to reach the pass limit; None where no date can be given.
    earliest_ms, latest_ms: the same for the bounds of the interval; latest_ms None means perhaps never.
    why_not: why no date is given, where none is.
    is_fading: whether the fleet's judgement lists it (judge.of_fleet).
    """

    visits: int
    span_days: float
    rate_db_per_month: float
    low_db_per_month: float
    high_db_per_month: float
    level_now_db: float
    crossing_ms: int | None
    earliest_ms: int | None
    latest_ms: int | None
    why_not: str | None
    is_fading: bool


def of_visits(points: Sequence[tuple[int, float]], pass_db: float | None, is_fading: bool) -> Trend | None:
    """The trend of (time in ms, level in dB) points; None for fewer than three. is_fading: whether it is listed."""
    if len(points) < 3 or points[-1][0] == points[0][0]:
        return None
    days = [(at_ms - points[-1][0]) / DAY_MS for at_ms, _ in points]
    levels = [level for _, level in points]
    slope, low, high = theil_sen(days, levels)
    now_db = median(level - slope * day for level, day in zip(levels, days, strict=True))
    span_days = -days[0]
    why_not = _why_no_date(len(points), span_days, slope, now_db, pass_db, is_fading)
    at_ms = points[-1][0]
    crossing = _crossing_ms(at_ms, now_db, slope, pass_db) if why_not is None else None
    return Trend(
        len(points),
        span_days,
        slope * DAYS_A_MONTH,
        low * DAYS_A_MONTH,
        high * DAYS_A_MONTH,
        now_db,
        crossing,
        _crossing_ms(at_ms, now_db, low, pass_db) if crossing else None,
        _crossing_ms(at_ms, now_db, high, pass_db) if crossing else None,
        why_not,
        is_fading,
    )


def theil_sen(x: Sequence[float], y: Sequence[float]) -> tuple[float, float, float]:
    """(slope, low, high): the median of all pairs' slopes, and its 95 % interval by Kendall's variance (Sen
    1968).

    x: not all the same. Ties in x or y widen nothing: the variance is corrected for them.
    """
    across, up = np.subtract.outer(x, x), np.subtract.outer(y, y)
    slopes = np.sort(up[across > 0] / across[across > 0])
    count = len(x)
    variance = (_kendall(count) - _tied(x) - _tied(y)) / 18
    half = NormalDist().inv_cdf((1 + CONFIDENCE) / 2) * sqrt(max(variance, 0.0))
    low = max(round((len(slopes) - half) / 2) - 1, 0)
    high = min(round((len(slopes) + half) / 2), len(slopes) - 1)
    return float(np.median(slopes)), float(slopes[low]), float(slopes[high])


def _kendall(count: int) -> int:
    return count * (count - 1) * (2 * count + 5)


def _tied(values: Sequence[float]) -> int:
    return sum(_kendall(count) for count in Counter(values).values())


def _why_no_date(
    count: int, span_days: float, slope: float, now_db: float, pass_db: float | None, is_fading: bool
) -> str | None:
    if pass_db is None:
        return "the limits in force are not known"
    obstacles = (
        (now_db <= pass_db, "it is below the pass limit already"),
        (count < VISITS_MIN, f"{count} visits are too few, {VISITS_MIN} are needed"),
        (span_days < SPAN_MIN_DAYS, f"{span_days:.0f} days are too short, {SPAN_MIN_DAYS:.0f} are needed"),
        (not is_fading or slope >= 0, "the level does not fall clearly"),
        (now_db - pass_db > -slope * LOOK_AHEAD * span_days, "it is further ahead than the data can tell"),
    )
    return next((words for stands, words in obstacles if stands), None)


def _crossing_ms(at_ms: int, now_db: float, slope: float, pass_db: float | None) -> int | None:
    if pass_db is None or slope >= 0:
        return None
    return at_ms + round((now_db - pass_db) / -slope * DAY_MS)
