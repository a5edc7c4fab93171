"""Dirt on sensors and the wash that takes it off.

No published figures were found to draw from; these are what a fleet's electrician would expect (*common practice*), and
they were settled before any judge had seen them:

- How often: a clod or a film that one can see comes to a sensor a few times a year; the rear bumper, in its own spray,
  gets twice as much as the front; a vehicle of the building site several times that of a town's bus.
- How much: dust and a thin film of road grime take about half a dB, which nobody notices; grime that one can wipe off
  with a finger 1 to 2 dB; caked mud 3 to 5 dB; above some 8 dB it falls off by its own weight, or the sensor is dead
  and no question of fading. Hence a median of 1.2 dB with a wide tail, and never more than 8 dB in all.
- How fast: half comes at once (a puddle), half within one to seven days (salt, mud on the way to one site).
- How it leaves: a fleet's vehicle is washed about once a month, some each week, some each quarter, all sensors at once;
  one in twenty is not washed in the whole record. Tar, paint and glue (one case in twenty) survive every wash.
"""

import numpy as np

from tests.bench.fading.calendar import SENSORS_PER_VEHICLE, VEHICLES, Flags, Floats

EVENTS_PER_YEAR = 3.0
REAR_OVER_FRONT = 2.0
VEHICLE_SPREAD = 0.5  # of the logarithm of a vehicle's rate
MEDIAN_DB, SIZE_SPREAD, MOST_DB = 1.2, 0.6, 8.0
AT_ONCE, SLOW_DAYS = 0.5, (1.0, 7.0)
WASH_DAYS, WASH_SPREAD, WASH_DAYS_RANGE = 28.0, 0.6, (7.0, 91.0)
UNWASHED_VEHICLES = 0.05
STUBBORN = 0.05
BEFORE_DAYS = 120.0  # so long before the record dirt begins, so that its first day finds dirty sensors
WASHES = 120


def loss_db(days: Floats, random: np.random.Generator) -> Floats:
    """What dirt takes from each sensor at each visit.

    days: sensors x visits, in the order of vehicles, front sensors first. Returns dB of the same shape, 0 to MOST_DB.
    """
    end = float(days.max())
    counts = random.poisson(_rates_per_day(random) * (end + BEFORE_DAYS))
    sensor = np.repeat(np.arange(len(counts)), counts)
    start = random.uniform(-BEFORE_DAYS, end, len(sensor))
    size_db = MEDIAN_DB * np.exp(random.normal(0, SIZE_SPREAD, len(sensor)))
    at_once = random.random(len(sensor)) < AT_ONCE
    growth_days = np.where(at_once, 0.01, random.uniform(*SLOW_DAYS, len(sensor)))
    washed = _next_wash(sensor // SENSORS_PER_VEHICLE, start, random)
    at = days[sensor]
    there = np.clip((at - start[:, None]) / growth_days[:, None], 0, 1) * (at < washed[:, None])
    loss = np.zeros_like(days)
    np.add.at(loss, sensor, size_db[:, None] * there)
    return np.minimum(loss, MOST_DB)


def _rates_per_day(random: np.random.Generator) -> Floats:
    """How often dirt comes to each sensor; EVENTS_PER_YEAR is the mean over the fleet."""
    vehicle = np.exp(random.normal(-(VEHICLE_SPREAD**2) / 2, VEHICLE_SPREAD, VEHICLES))
    place = np.repeat([1.0, REAR_OVER_FRONT], SENSORS_PER_VEHICLE // 2)
    rates: Floats = np.outer(vehicle, place / place.mean()).ravel() * EVENTS_PER_YEAR / 365.25
    return rates


def _next_wash(vehicle: np.ndarray, start: Floats, random: np.random.Generator) -> Floats:
    """The day on which each patch of dirt is washed off; infinity for never."""
    interval = np.clip(WASH_DAYS * np.exp(random.normal(0, WASH_SPREAD, VEHICLES)), *WASH_DAYS_RANGE)
    washes = np.cumsum(random.exponential(1, (VEHICLES, WASHES)), axis=1) * interval[:, None] - BEFORE_DAYS
    washes[random.random(VEHICLES) < UNWASHED_VEHICLES] = np.inf
    after = np.where(washes[vehicle] > start[:, None], washes[vehicle], np.inf)
    stubborn: Flags = random.random(len(start)) < STUBBORN
    washed: Floats = np.where(stubborn, np.inf, after.min(axis=1))
    return washed
