"""Turbulent jets and backgrounds as noise whose strength goes with time, and a wand that passes a leak."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.physics.strips import cut
from tests.bench.otheryard.types import F32, F64

Course = Callable[[F64], F64]
_STEP = 64


@dataclass
class Noise:
    """Noise of a spectrum; course(seconds) is its rms over 30 to 80 kHz, full scales of the low input (a sine's 1)."""

    spectrum: str
    course: Course
    begins: int

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page."""
        coarse = (first + np.arange(0, len(page) + _STEP, _STEP)) / RATE_HZ
        rms = self.course(coarse)
        if rms.any():
            fine = np.interp(np.arange(len(page)), np.arange(len(coarse)) * _STEP, rms)
            page += cut(self.spectrum, self.begins + first, len(page)) * fine.astype(np.float32)


@dataclass
class Whistle:
    """A leak's own tone: its frequency and strength wander a little, as an edge tone's do."""

    frequency_hz: float
    wander_hz: float
    course: Course
    rate_hz: float

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page; course gives the amplitude."""
        at_s = (first + np.arange(len(page))) / RATE_HZ
        wander = self.wander_hz / self.rate_hz / (2 * np.pi) * np.sin(2 * np.pi * self.rate_hz * at_s)
        page += (self.course(at_s) * np.sin(2 * np.pi * (self.frequency_hz * at_s + wander))).astype(
            np.float32
        )


def steady(rms: float) -> Course:
    """The same at all times."""
    return lambda at_s: np.full(len(at_s), rms)


def between(start_s: float, end_s: float, rms: float, edge_s: float = 0.05) -> Course:
    """On from start to end, with soft edges."""

    def course(at_s: F64) -> F64:
        inside = np.minimum(at_s - start_s, end_s - at_s) / edge_s
        return np.asarray(rms * np.clip(inside, 0, 1))

    return course


def passed(
    nearest_s: float, speed_m_per_s: float, nearest_m: float, rms: float, aim_deg: float = 25.0
) -> Course:
    """A wand that goes past a leak: as 1/r, and off the wand's aim as a beam of that half width (-6 dB)."""

    def course(at_s: F64) -> F64:
        along_m = speed_m_per_s * (at_s - nearest_s)
        off_deg = np.degrees(np.arctan2(np.abs(along_m), nearest_m))
        beam = 0.5 ** ((off_deg / aim_deg) ** 2)
        return np.asarray(rms * beam * nearest_m / np.hypot(nearest_m, along_m))

    return course


def pulsing(inner: Course, rate_hz: float, duty: float, low_db: float, phase: float) -> Course:
    """A leak that opens and closes: full for `duty` of each period, `low_db` down for the rest."""

    def course(at_s: F64) -> F64:
        part = (at_s * rate_hz + phase) % 1.0
        edge = np.clip(np.minimum(part, duty - part) * (1 / rate_hz) / 5e-3, 0, 1)
        return np.asarray(inner(at_s) * np.maximum(edge, 10 ** (low_db / 20)))

    return course


def gurgling(rng: np.random.Generator, inner: Course, rate_hz: float) -> Course:
    """A wet fitting: puffs of 30 to 150 ms by chance, some dB apart from each other."""
    starts_s = np.sort(rng.uniform(0, 90, rng.poisson(rate_hz * 90)))
    lengths_s, gains = rng.uniform(0.03, 0.15, len(starts_s)), 10 ** (-rng.uniform(0, 8, len(starts_s)) / 20)

    def course(at_s: F64) -> F64:
        k = np.clip(np.searchsorted(starts_s, at_s, side="right") - 1, 0, len(starts_s) - 1)
        inside = (at_s >= starts_s[k]) & (at_s < starts_s[k] + lengths_s[k])
        return np.asarray(inner(at_s) * np.where(inside, gains[k], 0.03))

    return course


def wandering(rng: np.random.Generator, rms: float, depth_db: float, rate_hz: float) -> Course:
    """A background that wanders: a standard deviation of `depth_db`, as fast as some sines around `rate_hz`."""
    rates_hz, phases = rate_hz * rng.uniform(0.4, 1.8, 5), rng.uniform(0, 2 * np.pi, 5)

    def course(at_s: F64) -> F64:
        swing = np.sin(2 * np.pi * np.outer(at_s, rates_hz) + phases).sum(axis=1) / np.sqrt(2.5)
        return np.asarray(rms * 10 ** (depth_db * swing / 20))

    return course


def gusts(rng: np.random.Generator, rms: float, rise_db: float, rate_hz: float) -> Course:
    """Puffs of wind of 0.2 to 1 s that raise the background by up to `rise_db`."""
    centres_s = np.sort(rng.uniform(0, 90, rng.poisson(rate_hz * 90) + 1))
    widths_s, heights = rng.uniform(0.1, 0.5, len(centres_s)), rise_db * rng.uniform(0.4, 1, len(centres_s))

    def course(at_s: F64) -> F64:
        puffs = heights * np.exp(-(((at_s[:, None] - centres_s) / widths_s) ** 2))
        return np.asarray(rms * 10 ** (puffs.max(axis=1) / 20))

    return course


def beating(rms: float, rate_hz: float, depth: float) -> Course:
    """A compressor that runs: its strokes swing the background's power."""
    return lambda at_s: rms * np.sqrt(1 + depth * np.sin(2 * np.pi * rate_hz * at_s))
