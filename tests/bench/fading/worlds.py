"""Invented fleets, from the requirement's words: 4,000 sensors that are read weekly, with 0.6 dB rms a seat.

Each world disturbs the levels in its own way. In a fleet with fading, 1 % of the sensors that are there from the start
lose 3 dB in the last six months of the record: a third in a straight line, a third faster and faster, a third in a
straight line from a week of the first half on.
"""

from dataclasses import dataclass

import numpy as np

from tests.bench.fading import dirt
from tests.bench.fading.calendar import (
    DAYS_PER_WEEK,
    PROBES,
    SENSORS_PER_VEHICLE,
    VEHICLES,
    Calendar,
    Floats,
    Integers,
    draw,
)

SENSORS = VEHICLES * SENSORS_PER_VEHICLE
HALF_YEAR = 26  # weeks
SEAT_DB = 0.6
FADING_SHARE, FADE_DB = 0.01, 3.0
SHAPES = ("straight", "accelerating", "from a week on")
LATEST_ONSET = 0.5  # of the six months
MEMORY = 0.6  # correlation of the noise from week to week
# "A swing of 1 dB" read as 1 dB to either side of the middle, the harder of its two senses. Temperature moves the
# transducers of one class a little more than those of another.
SWING_DB, SWING_OF_CLASS = 1.0, (0.85, 1.15)
DRIFT_DB = 2.5
DRIFT_DOWN = 2 / 3  # mostly a microphone loses level; the other sign must do no harm either
CLASSES = 4
CLASS_DB, POSITION_DB, SENSOR_DB, PROBE_DB = 3.0, 2.0, 1.5, 0.5
MIDDLE_DB = -18.0
UNREAD, TWICE = 0.02, 0.03
YEAR_DAYS = 365.25
DAY_MS = 86_400_000
EPOCH_MS = 1_767_225_600_000  # 2026-01-01
PLACE_MS = 20_000  # from one sensor of a vehicle to the next
AGAIN_MS = 240_000


@dataclass(frozen=True)
class World:
    """What disturbs the levels, besides the seat's noise."""

    name: str
    remembers: bool = False
    swings: bool = False
    drifts: bool = False
    dirty: bool = False


WHITE = World("white noise")
DISTURBED = (
    World("noise that remembers", remembers=True),
    World("common swing", swings=True),
    World("a probe that drifts", drifts=True),
    World("dirt and cleaning", dirty=True),
)
ALL_AT_ONCE = World("all at once", remembers=True, swings=True, drifts=True, dirty=True)


@dataclass(frozen=True)
class Readings:
    """What a judge may know: a row for each reading, in the order of sensors and then of time."""

    sensor: Integers  # 0 to SENSORS - 1; an arbitrary number, nothing follows from neighbours
    at_ms: Integers
    level_db: Floats
    probe_id: Integers


@dataclass(frozen=True)
class Fleet:
    """A fleet's readings and the truth about it."""

    readings: Readings
    shape: Integers  # by sensor: how it fades, an index into SHAPES; -1 where it does not


def make(world: World, weeks: int, fades: bool, random: np.random.Generator) -> Fleet:
    """A fleet that has been read for so many weeks, with or without fading."""
    calendar = draw(weeks, random)
    days = np.repeat(calendar.days, SENSORS_PER_VEHICLE, axis=0)
    shape = _fading_shapes(calendar, random) if fades else np.full(SENSORS, -1)
    classes = np.repeat(random.integers(0, CLASSES, VEHICLES), SENSORS_PER_VEHICLE)
    level_db = _still_db(classes, random)[:, None] + _probe_db(world, calendar, weeks, random)
    level_db -= FADE_DB * faded_share(shape, days / DAYS_PER_WEEK, weeks, random)
    if world.swings:
        level_db += _swing_db(classes, days, random)
    if world.dirty:
        level_db -= dirt.loss_db(days, random)
    read_db = level_db + _noise_db(world, days, random)
    number = random.permutation(SENSORS)
    readings = _rows(calendar, read_db, number, random)
    shape_of = np.empty_like(shape)
    shape_of[number] = shape
    return Fleet(readings, shape_of)


def _fading_shapes(calendar: Calendar, random: np.random.Generator) -> Integers:
    """1 % of the sensors, all of vehicles that joined at the start: who is read later has not yet lost 3 dB."""
    shape = np.full(SENSORS, -1)
    early = np.flatnonzero(~np.repeat(calendar.late, SENSORS_PER_VEHICLE))
    chosen = random.choice(early, round(FADING_SHARE * SENSORS), replace=False)
    shape[chosen] = np.arange(len(chosen)) % len(SHAPES)
    return shape


def faded_share(shape: Integers, week: Floats, weeks: int, random: np.random.Generator) -> Floats:
    """The share of the whole fade that each sensor has lost at each visit."""
    time = np.clip((week - (weeks - HALF_YEAR)) / HALF_YEAR, 0, 1)
    onset = random.uniform(0.1, LATEST_ONSET, (len(shape), 1))
    shapes = (time, time**2, np.clip((time - onset) / (1 - onset), 0, 1))
    nothing = np.zeros_like(time)
    faded: Floats = np.choose(shape[:, None] + 1, (nothing, *shapes))
    return faded


def _still_db(classes: Integers, random: np.random.Generator) -> Floats:
    """The level of each sensor when nothing happens: its class, its position in the bumper, itself."""
    of_class = random.normal(0, CLASS_DB, CLASSES)[classes]
    of_position = random.normal(0, POSITION_DB, (CLASSES, SENSORS_PER_VEHICLE))
    position = np.arange(SENSORS) % SENSORS_PER_VEHICLE
    itself = random.normal(0, SENSOR_DB, SENSORS)
    still: Floats = MIDDLE_DB + of_class + of_position[classes, position] + itself
    return still


def _probe_db(world: World, calendar: Calendar, weeks: int, random: np.random.Generator) -> Floats:
    """What each visit's probe adds: its own offset, and one probe's drift over the whole record."""
    added = random.normal(0, PROBE_DB, PROBES)[calendar.probes]
    if world.drifts:
        sign = -1 if random.random() < DRIFT_DOWN else 1
        time = calendar.days / (DAYS_PER_WEEK * weeks)
        moved = time if random.random() < 0.5 else time**2
        added += sign * DRIFT_DB * moved * (calendar.probes == random.integers(PROBES))
    return np.repeat(added, SENSORS_PER_VEHICLE, axis=0)


def _swing_db(classes: Integers, days: Floats, random: np.random.Generator) -> Floats:
    """The year's swing; the record begins on any day of the year."""
    amplitude_db = SWING_DB * random.uniform(*SWING_OF_CLASS, CLASSES)[classes]
    swing: Floats = amplitude_db[:, None] * np.sin(2 * np.pi * (days / YEAR_DAYS + random.random()))
    return swing


def _noise_db(world: World, days: Floats, random: np.random.Generator) -> Floats:
    """Noise of SEAT_DB rms: 2 x sensors x visits, the second for who is read twice on a visit.

    Noise that remembers is a first-order autoregression in time: its correlation is MEMORY ** weeks, so that two
    readings of one visit are nearly equal.
    """
    noise = random.normal(0, SEAT_DB, (2, *days.shape))
    if not world.remembers:
        return noise
    kept = MEMORY ** (np.diff(days, axis=1) / DAYS_PER_WEEK)
    for visit in range(1, days.shape[1]):
        k = kept[:, visit - 1]
        noise[0, :, visit] = k * noise[0, :, visit - 1] + np.sqrt(1 - k**2) * noise[0, :, visit]
    k_again = MEMORY ** (AGAIN_MS / DAY_MS / DAYS_PER_WEEK)
    noise[1] = k_again * noise[0] + np.sqrt(1 - k_again**2) * noise[1]
    return noise


def _rows(calendar: Calendar, level_db: Floats, number: Integers, random: np.random.Generator) -> Readings:
    """The readings that were made, of 2 x sensors x visits that could have been."""
    shape = level_db.shape[1:]
    came = np.repeat(calendar.came, SENSORS_PER_VEHICLE, axis=0)
    made = came & (random.random(shape) >= UNREAD)
    again = made & (random.random(shape) < TWICE)
    turn, sensor, visit = np.nonzero(np.stack([made, again]))
    vehicle = sensor // SENSORS_PER_VEHICLE
    at_ms = EPOCH_MS + (calendar.days[vehicle, visit] * DAY_MS).astype(np.int64)
    at_ms += sensor % SENSORS_PER_VEHICLE * PLACE_MS + random.integers(0, PLACE_MS, len(sensor))
    at_ms += turn * AGAIN_MS
    ids = random.choice(2**31, PROBES, replace=False)
    order = np.lexsort((at_ms, number[sensor]))
    rows = Readings(
        number[sensor],
        at_ms,
        np.round(level_db[turn, sensor, visit], 2),
        ids[calendar.probes[vehicle, visit]],
    )
    return Readings(rows.sensor[order], rows.at_ms[order], rows.level_db[order], rows.probe_id[order])
