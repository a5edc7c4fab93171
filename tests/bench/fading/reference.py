"""A judge from the textbook, to stand beside Curbtick's.

The part that is common to a probe's fortnight goes into a two-way linear model with the sensors (scipy's sparse least
squares). What is left of each sensor is fitted with a straight line, whose t test is widened by the correlation r from
week to week that the whole fleet shows: the slope's variance by (1 + r) / (1 - r), and the freedom of the noise's
estimate is that of n (1 - r**2) / (1 + r**2) readings (G. V. Bayley and J. M. Hammersley, The effective number of
independent observations in an autocorrelated time series, JRSS Supplement 8, 1946). Of the one-sided p values Benjamini
and Hochberg's procedure (statsmodels) takes those with a rate of false discoveries of 5 %; of these the sensors that
lose a decibel or more in six months are listed.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse, stats
from scipy.sparse.linalg import lsqr
from statsmodels.stats.multitest import multipletests

from tests.bench.fading.calendar import Flags, Floats
from tests.bench.fading.worlds import DAY_MS, HALF_YEAR, SENSORS, Readings

FALSE_DISCOVERY_RATE = 0.05
LEAST_LOSS_DB = 1.0
CELL_WEEKS = 2
LEAST_READINGS = 8
NEXT_WEEK = (0.6, 1.4)  # weeks between neighbours that count as a week apart
MOST_CORRELATION = 0.95


@dataclass(frozen=True)
class Lines:
    """A straight line for each sensor, by least squares."""

    count: Floats
    slope: Floats  # dB a week
    error: Floats  # standard error of the slope if the readings are independent
    left: Floats  # what the lines leave of each reading


def judge(readings: Readings) -> Flags:
    """The sensors that are listed."""
    rest_db = readings.level_db - _common_db(readings)
    lines = _lines(readings, rest_db)
    correlation = _correlation(readings, lines)
    wider = (1 + correlation) / (1 - correlation)
    freedom = np.maximum(lines.count * (1 - correlation**2) / (1 + correlation**2) - 2, 1)
    p = stats.t.cdf(lines.slope / (lines.error * np.sqrt(wider)), freedom)
    enough = lines.count >= LEAST_READINGS
    listed = np.zeros(SENSORS, bool)
    listed[enough] = multipletests(p[enough], FALSE_DISCOVERY_RATE, method="fdr_bh")[0]
    return listed & (lines.slope * HALF_YEAR <= -LEAST_LOSS_DB)


def slopes_db_per_week(readings: Readings) -> Floats:
    """The slope of each sensor's levels as they are."""
    return _lines(readings, readings.level_db).slope


def _weeks(readings: Readings) -> Floats:
    weeks: Floats = (readings.at_ms - readings.at_ms.min()) / (7 * DAY_MS)
    return weeks


def _common_db(readings: Readings) -> Floats:
    """What each reading shares with its probe's fortnight, with the sensors' own levels fitted beside it."""
    probe = np.unique(readings.probe_id, return_inverse=True)[1]
    fortnight = (_weeks(readings) / CELL_WEEKS).astype(int)
    cell = np.unique(probe * (fortnight.max() + 1) + fortnight, return_inverse=True)[1]
    row = np.arange(len(cell))
    column = np.stack([readings.sensor, SENSORS + cell], axis=1).ravel()
    design = sparse.csr_matrix((np.ones(2 * len(cell)), (np.repeat(row, 2), column)))
    fitted: Floats = lsqr(design, readings.level_db, atol=1e-7, btol=1e-7)[0]
    common: Floats = fitted[SENSORS:][cell]
    return common


def _lines(readings: Readings, level_db: Floats) -> Lines:
    def sums(values: Floats) -> Floats:
        summed: Floats = np.bincount(readings.sensor, values, SENSORS).astype(np.float64)
        return summed

    weeks = _weeks(readings)
    count = np.maximum(sums(np.ones(len(weeks))), 1)
    week = weeks - (sums(weeks) / count)[readings.sensor]
    level = level_db - (sums(level_db) / count)[readings.sensor]
    spread = np.maximum(sums(week**2), 1e-9)
    slope = sums(week * level) / spread
    left = level - slope[readings.sensor] * week
    error = np.sqrt(sums(left**2) / np.maximum(count - 2, 1) / spread)
    return Lines(count, slope, np.maximum(error, 1e-9), left)


def _correlation(readings: Readings, lines: Lines) -> float:
    """The correlation from week to week over the whole fleet, 0 or more.

    A fitted line takes away part of it: by (2 + 4 r) / n in the mean, to first order (F. H. C. Marriott and J. A. Pope,
    Bias in the estimation of autocorrelations, Biometrika 41 (1954), for a mean; about twice that for a line).
    """
    apart = np.diff(_weeks(readings))
    same = np.diff(readings.sensor) == 0
    pairs = same & (NEXT_WEEK[0] <= apart) & (apart <= NEXT_WEEK[1])
    products = lines.left[:-1][pairs] * lines.left[1:][pairs]
    raw = float(products.mean() / np.mean(lines.left**2))
    n = float(np.median(lines.count))
    return float(np.clip((raw + 2 / n) / (1 - 4 / n), 0, MOST_CORRELATION))
