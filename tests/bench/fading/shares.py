"""Shares over several fleets, with intervals that know that what happens within one fleet hangs together."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

ALPHA = 0.05
MOST_FLEETS = 500


@dataclass(frozen=True)
class Share:
    """So many hits of so many, by fleet."""

    hits: tuple[int, ...]
    of: tuple[int, ...]

    @property
    def value(self) -> float:
        """The share over all fleets; 0 of 0 is 0."""
        return sum(self.hits) / max(1, sum(self.of))

    @property
    def highest(self) -> float:
        """The highest share of a fleet."""
        return max(hits / max(1, of) for hits, of in zip(self.hits, self.of, strict=True))

    @property
    def design_effect(self) -> float:
        """The variance between fleets over that of independent sensors, at least 1 (the ratio estimator's).

        W. G. Cochran, Sampling Techniques, section 3.12; L. Kish, Survey Sampling.
        """
        fleets, total, p = len(self.of), sum(self.of), self.value
        if fleets < 2 or p in (0.0, 1.0):
            return 1.0
        beyond = np.array(self.hits) - p * np.array(self.of)
        between = fleets / (fleets - 1) * float(np.sum(beyond**2)) / total**2
        return max(1.0, between / (p * (1 - p) / total))

    def interval(self, fleets: int | None = None) -> tuple[float, float]:
        """The 95 % interval; for another number of fleets, what it would be if the share stayed as it is.

        Clopper-Pearson with the effective number of sensors: E. L. Korn and B. I. Graubard, Confidence intervals for
        proportions with small expected number of positive counts estimated from survey data, Survey Methodology 24
        (1998). Where all fleets agree in 0 or all hits, the sensors count as independent.
        """
        seen = len(self.of)
        fleets = fleets or seen
        total = sum(self.of) * fleets / seen
        if total == 0:
            return 0.0, 1.0
        effective = total / self.design_effect
        if self.design_effect > 1 and fleets > 1:
            t_of = (stats.t.ppf(1 - ALPHA / 2, total - 1), stats.t.ppf(1 - ALPHA / 2, fleets - 1))
            effective *= float(t_of[0] / t_of[1]) ** 2
        low, high = proportion_confint(self.value * effective, effective, ALPHA, method="beta")
        return float(low), float(high)

    def fleets_needed(self, proved: Callable[[tuple[float, float]], bool]) -> int | None:
        """How many fleets would prove a bound if the share stayed as it is; None for more than MOST_FLEETS."""
        return next((n for n in range(2, MOST_FLEETS + 1) if proved(self.interval(n))), None)


def together(shares: list[Share]) -> Share:
    """The shares of several runs as one."""
    return Share(sum((s.hits for s in shares), ()), sum((s.of for s in shares), ()))
