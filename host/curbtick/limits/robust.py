"""Robust statistics: centre, spread, outliers, and repeatability from pairs."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

# 1 / Phi^-1(3/4): makes the MAD of normal data estimate sigma.
MAD_TO_SIGMA = 1.482602
# Iglewicz & Hoaglin (1993): a modified z beyond this marks an outlier.
OUTLIER_Z = 3.5


def mad_sigma(values: Sequence[float]) -> float:
    """Standard deviation estimated by the median absolute deviation; 0 for fewer than two values."""
    if len(values) < 2:
        return 0.0
    middle = median(values)
    return MAD_TO_SIGMA * median([abs(value - middle) for value in values])


def modified_z(value: float, middle: float, sigma: float) -> float:
    """How many robust sigmas a value lies off the middle; 0 where there is no spread and no difference."""
    if sigma == 0:
        return 0.0 if value == middle else float("inf")
    return (value - middle) / sigma


def without_outliers(values: Sequence[float], sigma_min: float) -> list[float]:
    """Values within OUTLIER_Z robust sigmas of the median; sigma_min keeps a tiny MAD from rejecting
    everything.
    """
    middle = median(values)
    sigma = max(mad_sigma(values), sigma_min)
    return [value for value in values if abs(modified_z(value, middle, sigma)) <= OUTLIER_Z]


def sigma_of_differences(differences: Sequence[float]) -> float:
    """Repeatability of one value, from differences between two readings of the same thing; not empty."""
    return MAD_TO_SIGMA * median([abs(difference) for difference in differences]) / sqrt(2)


@dataclass(frozen=True)
class Component:
    """Between-group standard deviation by the method of moments, never below 0, and how many groups it
    rests on.
    """

    sigma: float
    groups: int


@dataclass(frozen=True)
class Moments:
    """A group of levels: how many (at least one), their mean, and their root mean square about it."""

    count: int
    mean_db: float
    sigma: float


def moments(values: Sequence[float]) -> Moments:
    """The moments of a group's values."""
    mean = sum(values) / len(values)
    return Moments(len(values), mean, sqrt(sum((value - mean) ** 2 for value in values) / len(values)))


def between_groups(groups: Sequence[Moments]) -> Component:
    """Standard deviation of group means beyond what the scatter within groups explains.

    One-way random effects, unbalanced (Searle, Casella & McCulloch, Variance Components, section 3.6).
    """
    total, used = sum(group.count for group in groups), len(groups)
    if used < 2 or total <= used:
        return Component(0.0, used)
    grand = sum(group.count * group.mean_db for group in groups) / total
    within = sum(group.count * group.sigma**2 for group in groups) / (total - used)
    between = sum(group.count * (group.mean_db - grand) ** 2 for group in groups) / (used - 1)
    n0 = (total - sum(group.count**2 for group in groups) / total) / (used - 1)
    return Component(sqrt(max((between - within) / n0, 0.0)), used)
