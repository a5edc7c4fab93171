"""When each vehicle of an invented fleet comes to be read, and by which probe.

Drawn from what a fleet's week looks like (*common practice*): a vehicle has its day of the week and slips by a day or
so, is missed now and then, is away for some weeks, or joins late; its depot's probe reads it, sometimes another's.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

VEHICLES = 500
SENSORS_PER_VEHICLE = 8  # four in front, four behind
PROBES = 8  # one for each depot
DAYS_PER_WEEK = 7
AT_HOME = 0.85
SLIP_DAYS = 1.2
MISSED_WEEKS = 0.08
AWAY_VEHICLES, AWAY_WEEKS = 0.06, (2, 5)
LATE_VEHICLES = 0.08


@dataclass(frozen=True)
class Calendar:
    """Arrays of VEHICLES x weeks, besides `late`, which has an entry for each vehicle."""

    days: Floats  # since the start of the record, ascending for each vehicle
    probes: Integers  # 0 to PROBES - 1
    came: Flags
    late: Flags  # joined after the start of the record


def draw(weeks: int, random: np.random.Generator) -> Calendar:
    """A fleet's visits over so many weeks, one planned in each."""
    shape = (VEHICLES, weeks)
    planned = DAYS_PER_WEEK * np.arange(weeks) + random.uniform(0, DAYS_PER_WEEK, (VEHICLES, 1))
    slipped = np.clip(planned + random.normal(0, SLIP_DAYS, shape), 0, DAYS_PER_WEEK * weeks)
    days = np.sort(slipped, axis=1)
    late = random.random(VEHICLES) < LATE_VEHICLES
    joined = np.where(late, random.integers(4, 20, VEHICLES), 0)
    here = (np.arange(weeks) >= joined[:, None]) & ~_away(weeks, random)
    came = here & (random.random(shape) >= MISSED_WEEKS)
    return Calendar(days, _probes(shape, random), came, late)


def _away(weeks: int, random: np.random.Generator) -> Flags:
    """The weeks for which some vehicles are away: in the workshop, on hire."""
    first = random.integers(1, weeks, (VEHICLES, 1))
    length = random.integers(AWAY_WEEKS[0], AWAY_WEEKS[1] + 1, (VEHICLES, 1))
    goes = random.random((VEHICLES, 1)) < AWAY_VEHICLES
    week = np.arange(weeks)
    away: Flags = goes & (first <= week) & (week < first + length)
    return away


def _probes(shape: tuple[int, int], random: np.random.Generator) -> Integers:
    """The probe of each visit; depots differ in size."""
    home = random.choice(PROBES, (shape[0], 1), p=random.dirichlet(np.full(PROBES, 6.0)))
    elsewhere = random.integers(0, PROBES, shape)
    probes: Integers = np.where(random.random(shape) < AT_HOME, home, elsewhere)
    return probes
