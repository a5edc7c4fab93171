"""Schedulers: which sensor of a bumper fires when. Each returns the firings in order, from time 0 on.

Single-tone systems need 30 to 40 ms between bursts and fire in a loop (US 12372643 B2, abstract).
"""

from dataclasses import dataclass

import numpy as np

SECONDS = 8.0


@dataclass(frozen=True)
class Firing:
    """Sensor `sensor` fires at `at_s`; `burst` counts that sensor's firings."""

    at_s: float
    sensor: int
    burst: int


def _numbered(pairs: list[tuple[float, int]]) -> list[Firing]:
    counts: dict[int, int] = {}
    firings = []
    for at_s, sensor in sorted(pairs):
        firings.append(Firing(at_s, sensor, counts.get(sensor, 0)))
        counts[sensor] = counts.get(sensor, 0) + 1
    return firings


def _slots(rng: np.random.Generator, slot_s: float) -> list[float]:
    """Starts of the slots; the clock's own jitter is 20 us (our choice)."""
    starts = -rng.uniform(0, 1) * slot_s + slot_s * np.arange(int(SECONDS / slot_s) + 2)
    return [float(at_s) for at_s in starts + rng.normal(0, 20e-6, len(starts))]


def in_turn(rng: np.random.Generator, sensors: int, slot_s: float) -> list[Firing]:
    """One after the other, a slot each."""
    first = int(rng.integers(sensors))
    return _numbered([(at_s, (n + first) % sensors) for n, at_s in enumerate(_slots(rng, slot_s))])


def in_groups(rng: np.random.Generator, sensors: int, slot_s: float) -> list[Firing]:
    """Two at once, far from each other: sensor n together with n + half."""
    half = (sensors + 1) // 2
    pairs = []
    for n, at_s in enumerate(_slots(rng, slot_s)):
        pairs += [(at_s, sensor) for sensor in (n % half, n % half + half) if sensor < sensors]
    return _numbered(pairs)


def dithered(rng: np.random.Generator, sensors: int, slot_s: float, dither_s: float) -> list[Firing]:
    """In turn, each firing late by its own share of `dither_s`, so that two vehicles never stay in step."""
    return _numbered([(f.at_s + rng.uniform(0, dither_s), f.sensor) for f in in_turn(rng, sensors, slot_s)])


def double(rng: np.random.Generator, sensors: int, slot_s: float, gap_s: float) -> list[Firing]:
    """In turn, each firing twice in its slot: a short look, then the far one."""
    plain = in_turn(rng, sensors, slot_s)
    return _numbered([(f.at_s + late_s, f.sensor) for f in plain for late_s in (0.0, gap_s)])


def adaptive(
    rng: np.random.Generator, sensors: int, slot_s: float, factor: float, change_s: float
) -> list[Firing]:
    """In turn; from `change_s` on the slots change by `factor` within one to four cycles, as an obstacle comes near."""
    cycles = int(rng.integers(1, 5))
    at_s, since, number = float(-rng.uniform(0, 1) * slot_s), 0, int(rng.integers(sensors))
    pairs = []
    while at_s < SECONDS:
        pairs.append((at_s + rng.normal(0, 20e-6), number % sensors))
        since += at_s >= change_s
        at_s += slot_s * factor ** min(1.0, since / (cycles * sensors))
        number += 1
    return _numbered(pairs)


def uneven(rng: np.random.Generator, sensors: int, slot_s: float) -> list[Firing]:
    """A loop in which the inner sensors fire twice: 0 1 2 3 1 2, so theirs alternates between two intervals."""
    loop = [*range(sensors), *range(1, sensors - 1)]
    first = int(rng.integers(len(loop)))
    return _numbered([(at_s, loop[(n + first) % len(loop)]) for n, at_s in enumerate(_slots(rng, slot_s))])


def hiccup(firings: list[Firing], at_s: float, pause_s: float) -> list[Firing]:
    """The whole system pauses once and goes on where it was."""
    return [Firing(f.at_s + pause_s if f.at_s >= at_s else f.at_s, f.sensor, f.burst) for f in firings]


def interval_of(firings: list[Firing], sensor: int) -> float:
    """Median seconds between a sensor's firings; 0 where it fires less than twice."""
    steps = np.diff([f.at_s for f in firings if f.sensor == sensor])
    return float(np.median(steps)) if len(steps) else 0.0


def within(firings: list[Firing], start_s: float, end_s: float) -> list[Firing]:
    """Those of a system that transmits only between the two times."""
    return [f for f in firings if start_s <= f.at_s < end_s]
