"""Statistics of detection for the seal and hiss benchmarks: intervals, the ratio at which Pd is reached, theory."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

PD, PFA = 0.9, 1e-3
RESAMPLES = 200


@dataclass(frozen=True)
class Count:
    """So many of so many, with its 95 % Wilson interval (E. B. Wilson 1927)."""

    hits: int
    of: int

    @property
    def rate(self) -> float:
        """The share."""
        return self.hits / self.of

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper bound."""
        z = float(stats.norm.ppf(0.975))
        middle = (self.hits + z * z / 2) / (self.of + z * z)
        half = z / (self.of + z * z) * (self.hits * (self.of - self.hits) / self.of + z * z / 4) ** 0.5
        return max(0.0, middle - half), min(1.0, middle + half)


def ratio_at_pd(ratios_db: list[float], counts: list[Count], pd: float = PD) -> float:
    """The ratio at which Pd is reached, by a probit line through counts at several ratios (maximum likelihood)."""
    at = np.array(ratios_db)
    hits, of = np.array([c.hits for c in counts]), np.array([c.of for c in counts])

    def unlikelihood(line: np.ndarray) -> float:
        p = np.clip(stats.norm.cdf(line[0] + np.exp(line[1]) * (at - at.mean())), 1e-9, 1 - 1e-9)
        return float(-(hits * np.log(p) + (of - hits) * np.log(1 - p)).sum())

    best = optimize.minimize(unlikelihood, np.array([1.0, 0.0]), method="Nelder-Mead").x
    return float(at.mean() + (stats.norm.ppf(pd) - best[0]) / np.exp(best[1]))


def ratio_interval(
    ratios_db: list[float], counts: list[Count], random: np.random.Generator
) -> tuple[float, float]:
    """The 95 % interval of ratio_at_pd: binomial draws at the shares that were counted (parametric bootstrap)."""
    drawn = [
        ratio_at_pd(ratios_db, [Count(int(random.binomial(c.of, c.rate)), c.of) for c in counts])
        for _ in range(RESAMPLES)
    ]
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(low), float(high)


def tone_ratio_db(cells: float = 1.0, pd: float = PD, pfa: float = PFA) -> float:
    """Energy of a tone over noise density that theory needs: the largest of so many independent cells.

    Chi-square and non-central chi-square of two degrees (scipy.stats.ncx2): threshold u with 1 - (1 - exp(-u))**cells =
    pfa; detected is what passes in the tone's own cell.
    """
    threshold = -np.log(1.0 - (1.0 - pfa) ** (1.0 / cells))

    def miss(ratio_db: float) -> float:
        return float(stats.ncx2.sf(2 * threshold, 2, 2 * 10 ** (ratio_db / 10)) - pd)

    return solve(miss, 0.0, 30.0)


def solve(function: Callable[[float], float], low: float, high: float) -> float:
    """The root of a function between two bounds."""
    return float(optimize.brentq(function, low, high))


def rise_sigma_db(bandwidth_hz: float, seconds: float, background_s: float) -> float:
    """Standard deviation of a radiometer's rise: power of white noise over a band and a time, against a background."""
    return float(10 / np.log(10) * (1 / (bandwidth_hz * seconds) + 1 / (bandwidth_hz * background_s)) ** 0.5)
