"""Robust statistics of any number of levels in bounded memory: how often each whole step of a scale occurs.

A level is a whole number of hundredths of a dB, so a fleet's ten million residuals come down to some hundred
counts. The results are those of `robust` on the values themselves.
"""

from collections import Counter
from collections.abc import Mapping
from math import sqrt

from curbtick.limits import robust
from curbtick.limits.robust import Moments

# Residuals are taken from medians of whole hundredths, which may lie half a hundredth between two.
STEPS_PER_DB = 200


class Tally:
    """How often each value occurs. Values are whole steps; what is asked of it is in dB."""

    def __init__(self, counts: Mapping[int, int] | None = None) -> None:
        self.counts = Counter[int](counts or {})

    def __len__(self) -> int:
        """How many values, each as often as it occurs."""
        return self.counts.total()

    def add(self, steps: int) -> None:
        """Count a value."""
        self.counts[steps] += 1

    @property
    def median_db(self) -> float:
        """The median; not of an empty tally."""
        return _twice_median(self.counts) / 2 / STEPS_PER_DB

    @property
    def mad_sigma_db(self) -> float:
        """Standard deviation estimated by the median absolute deviation; 0 for fewer than two values."""
        if len(self) < 2:
            return 0.0
        return robust.MAD_TO_SIGMA * _twice_median(self._deviations()) / 4 / STEPS_PER_DB

    def _deviations(self) -> Counter[int]:
        """Distances from the median, in half steps."""
        middle = _twice_median(self.counts)
        deviations = Counter[int]()
        for steps, count in self.counts.items():
            deviations[abs(2 * steps - middle)] += count
        return deviations

    def without_outliers(self, sigma_min_db: float) -> "Tally":
        """As `robust.without_outliers`."""
        middle, sigma = self.median_db, max(self.mad_sigma_db, sigma_min_db)
        kept = {
            steps: count
            for steps, count in self.counts.items()
            if abs(robust.modified_z(steps / STEPS_PER_DB, middle, sigma)) <= robust.OUTLIER_Z
        }
        return Tally(kept)

    @property
    def moments(self) -> Moments:
        """As `robust.moments`."""
        total = len(self)
        mean = sum(steps * count for steps, count in self.counts.items()) / total
        squares = sum(count * (steps - mean) ** 2 for steps, count in self.counts.items())
        return Moments(total, mean / STEPS_PER_DB, sqrt(squares / total) / STEPS_PER_DB)

    @property
    def sigma_of_differences_db(self) -> float:
        """As `robust.sigma_of_differences`, of a tally of differences."""
        sizes = Counter[int]()
        for steps, count in self.counts.items():
            sizes[abs(steps)] += count
        return robust.sigma_of_differences([_twice_median(sizes) / 2 / STEPS_PER_DB])


def _twice_median(counts: Mapping[int, int]) -> int:
    """The sum of the two middle values, which are the same one where there is one middle."""
    total = sum(counts.values())
    return _at(counts, (total - 1) // 2) + _at(counts, total // 2)


def _at(counts: Mapping[int, int], place: int) -> int:
    """The value at a place, from 0, of the values in order."""
    for value in sorted(counts):
        place -= counts[value]
        if place < 0:
            return value
    raise ValueError("an empty tally has no middle")
