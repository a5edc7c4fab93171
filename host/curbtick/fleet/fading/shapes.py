"""Whether a level sinks little by little, or fell at once: dirt, a washing, another sensor.

Four shapes are fitted to each position: a line, a level that falls from one visit on, one step, two steps. The better
one is that of the smaller Bayesian information criterion (Schwarz, Annals of Statistics 6 (1978), 461-464), after what
is known beforehand: the more of a fleet's positions go in steps, the likelier is a step (Kass and Raftery, Journal of
the American Statistical Association 90 (1995), 773-795: two natural logarithms of the odds are added).
"""

import numpy as np

from curbtick.fleet.fading.evidence import centred
from curbtick.fleet.fading.series import Mask, Numbers, Series

# What a shape fits beside the spread; a bend or a step also has its place.
LEVEL, LINE, BEND, ONE_STEP, TWO_STEPS = 1, 2, 3, 3, 5
# No spread is believed to be smaller than this, in dB.
FINEST_DB = 0.1
# A part of a shape that fewer visits make up is an outlier.
PART_LEAST = 2
# The share of positions that fade, as far as anybody knows before looking.
FADING_SHARE = 0.01
# "Strong" evidence is a difference of so much (Kass and Raftery); what is known beforehand never weighs more.
STRONG = 6.0
# The best place of a step is chosen among many: white noise gets as far as this in one position of ten thousand.
BEYOND_CHANCE = 20.0


def sinks(series: Series, levels_db: Numbers, suspects: Mask) -> Mask:
    """Which of the suspects sink little by little rather than in one or two steps.

    levels_db: (positions, visits). suspects: positions that may fade; the others tell how often a level goes in steps.
    """
    there, counts = series.there, series.counts
    y = centred(levels_db, there)
    slow = np.minimum(_criterion(_line(series, y), counts, LINE), _criterion(_bend(series, y), counts, BEND))
    steps = np.minimum(
        _criterion(_one_step(y, counts), counts, ONE_STEP),
        _criterion(_two_steps(y, counts), counts, TWO_STEPS),
    )
    level = _criterion(np.sum(y * y, axis=1), counts, LEVEL)
    others = ~suspects
    stepping = float(np.mean(steps[others] + BEYOND_CHANCE < level[others])) if others.any() else FADING_SHARE
    odds = 2 * np.log(FADING_SHARE / max(stepping, 1e-6))
    found: Mask = suspects & (slow <= steps + np.clip(odds, -STRONG, STRONG))
    return found


def _criterion(squares: Numbers, counts: Numbers, fitted: int) -> Numbers:
    found: Numbers = counts * np.log(np.maximum(squares / counts, FINEST_DB**2)) + fitted * np.log(counts)
    return found


def _left(x: Numbers, y: Numbers) -> Numbers:
    """Sum of squares that is left of y by a line on x; both centred."""
    power = np.sum(x * x, axis=1)
    along = np.sum(x * y, axis=1)
    left: Numbers = np.sum(y * y, axis=1) - np.where(power > 0, along**2 / np.maximum(power, 1e-12), 0.0)
    return left


def _line(series: Series, y: Numbers) -> Numbers:
    return _left(centred(series.days, series.there), y)


def _bend(series: Series, y: Numbers) -> Numbers:
    """A level that stays until a visit and falls in a line from there on."""
    best = np.full(len(y), np.inf)
    for place in range(PART_LEAST - 1, y.shape[1] - PART_LEAST):
        after = np.maximum(series.days - series.days[:, place : place + 1], 0.0)
        is_inside = place < series.counts - PART_LEAST
        best = np.where(is_inside, np.minimum(best, _left(centred(after, series.there), y)), best)
    return best


def _one_step(y: Numbers, counts: Numbers) -> Numbers:
    sums = np.cumsum(y, axis=1)
    whole, total = np.sum(y * y, axis=1), sums[:, -1]
    best: Numbers = whole.copy()
    for before in range(PART_LEAST, y.shape[1] - PART_LEAST + 1):
        after = np.maximum(counts - before, 1)
        first = sums[:, before - 1]
        left = whole - first**2 / before - (total - first) ** 2 / after
        best = np.where(counts - before >= PART_LEAST, np.minimum(best, left), best)
    return best


def _two_steps(y: Numbers, counts: Numbers) -> Numbers:
    sums = np.cumsum(y, axis=1)
    whole, total = np.sum(y * y, axis=1), sums[:, -1]
    best: Numbers = whole.copy()
    for first in range(PART_LEAST, y.shape[1] - 2 * PART_LEAST + 1):
        ends = np.arange(first + PART_LEAST, y.shape[1] - PART_LEAST + 1)
        head = sums[:, first - 1 : first]
        middle = sums[:, ends - 1] - head
        tail = total[:, None] - sums[:, ends - 1]
        after = counts[:, None] - ends
        explained = head**2 / first + middle**2 / (ends - first) + tail**2 / np.maximum(after, 1)
        left = np.where(after >= PART_LEAST, whole[:, None] - explained, np.inf)
        best = np.minimum(best, left.min(axis=1, initial=np.inf))
    return best
