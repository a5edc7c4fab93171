"""Sound sensors of systems that work in many ways: PASS is right."""

import numpy as np
from curbtick_wire.classes import CUSTOM

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.bumper.setting import Setting
from tests.bench.otheryard.kinds import Draft, Kinds, entered
from tests.bench.otheryard.sensor.drive import Drive, Piece, chirp, coded, drive, tone
from tests.bench.otheryard.sensor.sensor import Sensor
from tests.bench.otheryard.vehicle import schedule
from tests.bench.otheryard.vehicle.bumper import Echo
from tests.bench.otheryard.vehicle.schedule import Firing

KINDS: Kinds = {}


def sound(world: Setting, held: Sensor, firings: list[Firing], echoes: tuple[Echo, ...] = ()) -> Draft:
    """A scene whose held sensor is as it should be."""
    truth = world.by_level(held)
    return world.draft(truth, firings, world.siblings(held), echoes=echoes)


def driven(world: Setting, drives: list[Drive], quality: float | None = None) -> Draft:
    """A system whose sensors all take the same drives in turn."""
    held = world.sensor(world.healthy_level(), world.centre_hz, drives, quality)
    held.order = _own_order(world.rng, len(drives))
    truth = world.by_level(held, 8 * len(drives))
    siblings = world.siblings(held, frequency_hz=world.centre_hz, drives=drives, quality=quality)
    return world.draft(truth, world.turns(), siblings)


def _own_order(rng: np.random.Generator, drives: int) -> "Order":
    return Order(
        rng.integers(drives, size=setting.APART) if rng.uniform() < 0.5 else np.arange(setting.APART)
    )


class Order:
    """Which drive burst k takes: drawn at random, or one after the other."""

    def __init__(self, choices: "np.ndarray[tuple[int], np.dtype[np.int64]]") -> None:
        self._choices = choices

    def __call__(self, burst: int) -> int:
        return int(self._choices[burst % len(self._choices)])


@entered(KINDS, "2 to 6 sensors fire in turn, 30 to 40 ms apart")
def in_turn(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return sound(world, world.sensor(world.healthy_level()), world.turns())


@entered(KINDS, "4 to 6 sensors, two of them at once")
def in_groups(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=4)
    firings = schedule.in_groups(rng, world.count, rng.uniform(30e-3, 60e-3))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "one sensor alone on its bumper, every 60 to 240 ms")
def single(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=1, most=1)
    firings = schedule.in_turn(rng, 1, rng.uniform(60e-3, 240e-3))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "each burst late by its own share of 2 to 8 ms")
def dithered(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    firings = schedule.dithered(rng, world.count, world.slot_s, rng.uniform(2e-3, 8e-3))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "each sensor fires twice in its slot, 8 to 18 ms apart")
def double(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    firings = schedule.double(rng, world.count, world.slot_s + 10e-3, rng.uniform(8e-3, 18e-3))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "the rate changes by 0.6 to 1.7 within the reading, as an obstacle comes nearer or goes")
def adaptive(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    factor = rng.uniform(0.6, 0.8) if rng.uniform() < 0.5 else rng.uniform(1.25, 1.7)
    firings = schedule.adaptive(rng, world.count, world.slot_s, factor, rng.uniform(0.2, 1.0))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "4 to 6 sensors in a loop in which the inner ones fire twice, so at two intervals in turn")
def uneven_loop(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=4)
    firings = schedule.uneven(rng, world.count, world.slot_s)
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "the whole system pauses once for 40 to 180 ms and goes on")
def hiccup(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    firings = schedule.hiccup(world.turns(), rng.uniform(0.1, 1.0), rng.uniform(0.04, 0.18))
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "a slow loop: each sensor every 300 to 480 ms")
def slow_loop(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=4)
    firings = schedule.in_turn(rng, world.count, rng.uniform(0.3, 0.48) / world.count)
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "one or two sensors in a fast loop: each every 35 to 60 ms")
def fast_loop(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=1, most=2)
    firings = schedule.in_turn(rng, world.count, rng.uniform(35e-3, 60e-3) / world.count)
    return sound(world, world.sensor(world.healthy_level()), firings)


@entered(KINDS, "every burst swept by 2 to 5 kHz over 0.6 to 1.6 ms, all the same way")
def swept(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    half_hz = rng.uniform(1000, 2500) * rng.choice([-1, 1])
    sweep = chirp(world.centre_hz - half_hz, world.centre_hz + half_hz, rng.uniform(0.6e-3, 1.6e-3))
    return driven(world, [sweep], quality=rng.uniform(10, 18))


@entered(KINDS, "sweeps up and down in turn (US 10663568, US 11982740)")
def alternating_chirps(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    half_hz, seconds = rng.uniform(1000, 2500), rng.uniform(0.6e-3, 1.6e-3)
    low_hz, high_hz = world.centre_hz - half_hz, world.centre_hz + half_hz
    return driven(
        world, [chirp(low_hz, high_hz, seconds), chirp(high_hz, low_hz, seconds)], rng.uniform(10, 18)
    )


@entered(KINDS, "phase turned over within the burst by a code of 5, 7 or 11 chips (Barker)")
def phase_coded(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    codes = ((1, 1, 1, -1, 1), (1, 1, 1, -1, -1, 1, -1), (1, 1, 1, -1, -1, -1, 1, -1, -1, 1, -1))
    chips = codes[int(rng.integers(3))]
    burst = coded(world.centre_hz, int(rng.integers(5, 9)), chips)
    return driven(world, [burst], quality=rng.uniform(8, 14))


@entered(KINDS, "another frequency for every burst, from three to five of a group (US 2020/0072973)")
def hopping(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    group_hz = world.centre_hz + rng.uniform(-1500, 1500, int(rng.integers(3, 6)))
    cycles = int(rng.integers(16, 33))
    return driven(world, [tone(float(hz), cycles) for hz in group_hz], quality=rng.uniform(10, 18))


@entered(KINDS, "a burst of two frequencies one after the other (composite bursts, US 10663568)")
def two_tone(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    apart_hz, cycles = rng.uniform(600, 1500), int(rng.integers(10, 25))
    low, high = (Piece(cycles, hz, hz) for hz in (world.centre_hz - apart_hz, world.centre_hz + apart_hz))
    return driven(world, [drive(low, high)], quality=rng.uniform(10, 18))


@entered(KINDS, "4 to 6 cycles only (a driver's short preset: 4 cycles, SLASEC8)")
def short_burst(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return driven(world, [tone(world.centre_hz, int(rng.integers(4, 7)))])


@entered(KINDS, "bursts of 1.5 to 2.4 ms, all at one frequency")
def long_burst(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return driven(world, [tone(world.centre_hz, int(world.centre_hz * rng.uniform(1.5e-3, 2.4e-3)))])


@entered(KINDS, "the frequency drifts by 1 to 3 % during the reading, within the window")
def drifting(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(world.healthy_level(), world.frequency(400))
    held.stretch = 1 + rng.choice([-1, 1]) * rng.uniform(0.01, 0.03) * np.minimum(
        np.arange(setting.APART) / 12, 1
    )
    return sound(world, held, world.turns())


@entered(KINDS, "deaf, but it sends as it should: no listener can know, PASS says that it sends")
def deaf(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return sound(world, world.sensor(world.healthy_level()), world.turns())


@entered(KINDS, "a custom class, 34 to 75 kHz")
def custom_class(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, class_khz=CUSTOM)
    return sound(world, world.sensor(world.healthy_level()), world.turns())


@entered(KINDS, "1 to 7 dB over full scale: the low input clips, the padded one does not")
def strong(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    return sound(world, world.sensor(rng.uniform(1, 7)), world.turns())


@entered(KINDS, "two to four obstacles return each burst 1.5 to 25 ms later, 30 to 45 dB weaker")
def echoing(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    echoes = tuple(
        Echo(rng.uniform(1.5e-3, 25e-3), rng.uniform(30, 45)) for _ in range(int(rng.integers(2, 5)))
    )
    return sound(world, world.sensor(world.healthy_level()), world.turns(), echoes)
