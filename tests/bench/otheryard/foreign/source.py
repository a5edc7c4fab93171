"""The two ways in which a foreign source sounds: clips at times of its own, or without end.

Levels: the largest momentary value, dB of full scale.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.bench.otheryard.kinds import Kinds
from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.physics.strips import cut
from tests.bench.otheryard.types import F32, F64, Source
from tests.bench.otheryard.vehicle.bumper import add_wave

SECONDS = 8.0
# Every foreign source is `make(rng, centre_hz, level_dbfs) -> Source`.
FOREIGN: Kinds = {}
ClipMaker = Callable[[np.random.Generator, int], F64]


@dataclass
class Clips:
    """Clip k begins at starts_s[k] and is what make(its own generator, k) returns, scaled to its level."""

    starts_s: F64
    make: ClipMaker
    levels_dbfs: F64
    seed: int
    _waves: dict[int, F32] = field(default_factory=dict)

    def add_to(self, page: F32, first: int) -> None:
        """Add every clip that touches the page. No clip is longer than 2 s."""
        starts = np.asarray(self.starts_s * RATE_HZ, dtype=np.int64)
        near = np.flatnonzero((starts < first + len(page)) & (starts > first - 2 * RATE_HZ))
        for k in near:
            wave = self._wave(int(k))
            if starts[k] + len(wave) > first:
                add_wave(page, first, int(starts[k]), wave)

    def _wave(self, k: int) -> F32:
        if k not in self._waves:
            wave = self.make(np.random.default_rng([self.seed, k]), k)
            scale = 10 ** (self.levels_dbfs[k] / 20) / max(float(np.abs(wave).max()), 1e-12)
            self._waves[k] = np.asarray(wave * scale, dtype=np.float32)
        return self._waves[k]


def clips(
    rng: np.random.Generator, starts_s: F64, make: ClipMaker, level_dbfs: float, spread_db: float = 1.0
) -> Clips:
    """Clips whose levels spread below the loudest by about `spread_db`."""
    levels = level_dbfs - np.abs(rng.normal(0, spread_db, len(starts_s)))
    return Clips(np.asarray(starts_s), make, levels, int(rng.integers(1 << 40)))


@dataclass
class Steady:
    """A source without end: shape(seconds) gives its momentary value, 1 at most."""

    shape: Callable[[F64], F64]
    level_dbfs: float

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page."""
        at_s = (first + np.arange(len(page))) / RATE_HZ
        page += (self.shape(at_s) * 10 ** (self.level_dbfs / 20)).astype(np.float32)


@dataclass
class Hiss:
    """Noise of a spectrum, its strength given over time: 1 is so loud that its peaks (four sigma) reach the level."""

    spectrum: str
    strength: Callable[[F64], F64]
    level_dbfs: float
    begins: int

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page."""
        at_s = (first + np.arange(0, len(page), 16)) / RATE_HZ
        strength = np.repeat(self.strength(at_s), 16)[: len(page)]
        if strength.any():
            rms = 10 ** (self.level_dbfs / 20) * np.sqrt(2) / 4
            page += cut(self.spectrum, self.begins + first, len(page)) * (strength * rms).astype(np.float32)


@dataclass
class Both:
    """Several sources as one."""

    sources: list[Source]

    def add_to(self, page: F32, first: int) -> None:
        """Add them all."""
        for source in self.sources:
            source.add_to(page, first)


def ticking(rng: np.random.Generator, interval_s: float, jitter_s: float) -> F64:
    """Times of something regular, from a random phase on."""
    count = int(SECONDS / interval_s) + 2
    return np.sort((np.arange(count) - rng.uniform(0, 1)) * interval_s + rng.normal(0, jitter_s, count))


def scattered(rng: np.random.Generator, rate_hz: float) -> F64:
    """Times of something that happens by chance, so often a second."""
    return np.sort(rng.uniform(-0.2, SECONDS, rng.poisson(rate_hz * (SECONDS + 0.2))))


def grid(seconds: float) -> F64:
    """Sample times of a clip."""
    return np.asarray(np.arange(max(2, int(seconds * RATE_HZ))) / RATE_HZ)


def noise(rng: np.random.Generator, spectrum: str, count: int) -> F64:
    """A piece of noise."""
    return np.asarray(cut(spectrum, int(rng.integers(1 << 40)), count), dtype=np.float64)


def rung(
    rng: np.random.Generator, at_s: F64, low_hz: float, high_hz: float, modes: int, quality: float
) -> F64:
    """A body that was struck: modes spread over the range, each ringing with about this quality."""
    total = np.zeros(len(at_s))
    for _ in range(modes):
        hz, q = rng.uniform(low_hz, high_hz), quality * rng.uniform(0.5, 2.0)
        fall = np.exp(-np.pi * hz / q * at_s)
        total += rng.uniform(0.3, 1.0) * fall * np.sin(2 * np.pi * hz * at_s + rng.uniform(0, 6.28))
    return total
