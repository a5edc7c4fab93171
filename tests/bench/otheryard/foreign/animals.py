"""Bats and bush crickets.

Call shapes: Pipistrellus pygmaeus every 81 ms, 5.7 ms, 64.7 to 54.1 kHz (Vaughan et al. 1997, as quoted by the
University of Bristol); P. pipistrellus near 45 kHz every 122 to 174 ms (CHECKS); Nyctalus noctula 22.5 to 25 kHz for
10 to 50 ms and Rhinolophus ferrumequinum FM-CF-FM with a final sweep over 12 to 20 kHz (Vogler & Neuweiler 1983);
Myotis daubentonii below 8 ms, from about 80 to 26 kHz (Van De Sijpe 2011). The horseshoe bat's 78 to 84 kHz and its 30
to 60 ms are from memory.
"""

import numpy as np

from tests.bench.otheryard.foreign.source import (
    FOREIGN,
    SECONDS,
    ClipMaker,
    Clips,
    clips,
    grid,
    noise,
    scattered,
    ticking,
)
from tests.bench.otheryard.kinds import entered
from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.types import F64


def call(corners: list[tuple[float, float]], edge_s: float, harmonic: float = 0.0) -> F64:
    """A call whose frequency goes through the corners (seconds, Hz) in straight lines, with soft ends."""
    at_s = grid(corners[-1][0])
    hz = np.interp(at_s, [s for s, _ in corners], [f for _, f in corners])
    phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
    soft = np.minimum(1, np.minimum(at_s, at_s[-1] - at_s) / edge_s)
    second = np.where(hz < 60e3, harmonic * np.sin(2 * phase), 0.0)
    return np.asarray(np.sin(np.pi / 2 * soft) ** 2 * (np.sin(phase) + second))


def wingbeats(rng: np.random.Generator, interval_s: float) -> F64:
    """Calls ride on the wing beat: an interval now and then is left out, and each is uneven by some per cent."""
    steps = interval_s * (1 + rng.normal(0, 0.06, int(SECONDS / interval_s) + 4))
    steps *= np.where(rng.uniform(size=len(steps)) < 0.12, 2.0, 1.0)
    return np.asarray(np.cumsum(steps) - rng.uniform(0, 1) * interval_s)


def _passing(rng: np.random.Generator, starts_s: F64, level_dbfs: float) -> F64:
    """Levels of a bat that flies past within about two seconds."""
    return np.asarray(level_dbfs - ((starts_s - rng.uniform(0.2, 1.2)) / rng.uniform(0.5, 2.0)) ** 2 * 6)


def _bat(rng: np.random.Generator, interval_s: float, make: ClipMaker, level_dbfs: float) -> Clips:
    starts_s = wingbeats(rng, interval_s)
    made = clips(rng, starts_s, make, level_dbfs)
    made.levels_dbfs = _passing(rng, starts_s, level_dbfs) - np.abs(rng.normal(0, 1.5, len(starts_s)))
    return made


@entered(
    FOREIGN,
    "a pipistrelle: a short sweep, then nearly one tone of 42 to 57 kHz, 4 to 7 ms, every 80 to 174 ms",
)
def pipistrelle(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    soprano = bool(rng.uniform() < 0.4)
    end_hz = rng.uniform(53e3, 57e3) if soprano else rng.uniform(42e3, 48e3)
    interval_s = rng.uniform(0.078, 0.1) if soprano else rng.uniform(0.122, 0.174)
    length_s, steep_s = rng.uniform(4e-3, 7e-3), rng.uniform(0.6e-3, 1.5e-3)

    def one(own: np.random.Generator, k: int) -> F64:
        tail_hz = end_hz + own.normal(0, 400)
        return call([(0, tail_hz + 25e3), (steep_s, tail_hz + 3e3), (length_s, tail_hz)], 0.8e-3)

    return _bat(rng, interval_s, one, level_dbfs)


@entered(FOREIGN, "a mouse-eared bat: 85 to 28 kHz in 1.5 to 5 ms, every 60 to 100 ms")
def myotis(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    length_s = rng.uniform(1.5e-3, 5e-3)

    def one(own: np.random.Generator, k: int) -> F64:
        top_hz, end_hz = own.uniform(75e3, 95e3), own.uniform(26e3, 32e3)
        return call([(0, top_hz), (length_s * 0.5, 48e3), (length_s, end_hz)], 0.5e-3)

    return _bat(rng, rng.uniform(0.06, 0.1), one, level_dbfs)


@entered(FOREIGN, "a horseshoe bat: one tone of 78 to 84 kHz for 30 to 60 ms, sweeps at both ends")
def horseshoe(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    tone_hz, length_s = rng.uniform(78e3, 84e3), rng.uniform(0.03, 0.06)

    def one(own: np.random.Generator, k: int) -> F64:
        end_s, end_hz = length_s + 3e-3, tone_hz - own.uniform(12e3, 20e3)
        return call([(0, tone_hz - 5e3), (2e-3, tone_hz), (length_s, tone_hz), (end_s, end_hz)], 1e-3)

    return _bat(rng, rng.uniform(0.08, 0.12), one, level_dbfs)


@entered(FOREIGN, "a noctule: 20 to 25 kHz for 10 to 25 ms, its second harmonic in the band")
def noctule(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    tone_hz, length_s = rng.uniform(20e3, 25e3), rng.uniform(10e-3, 25e-3)

    def one(own: np.random.Generator, k: int) -> F64:
        return call([(0, tone_hz + 2e3), (length_s, tone_hz - 500)], 2e-3, harmonic=own.uniform(0.05, 0.4))

    return _bat(rng, rng.uniform(0.18, 0.4), one, level_dbfs)


@entered(FOREIGN, "a feeding buzz: sweeps from 60 to 25 kHz of 0.4 to 1 ms, ever faster from 80 to 6 ms")
def feeding_buzz(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    steps = np.concatenate([np.geomspace(0.08, 6e-3, 30), np.full(30, 6e-3), [0.4]])
    starts_s = np.cumsum(np.tile(steps, 6)) - rng.uniform(0, 1.0)

    def one(own: np.random.Generator, k: int) -> F64:
        return call([(0, own.uniform(50e3, 60e3)), (own.uniform(0.4e-3, 1e-3), 25e3)], 0.15e-3)

    return clips(rng, starts_s[starts_s < SECONDS], one, level_dbfs, 2.0)


@entered(FOREIGN, "a bush cricket: syllables of 3 to 12 ms of crackle, 10 to 30 a second, in verses")
def bush_cricket(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    length_s, centre = rng.uniform(3e-3, 12e-3), rng.uniform(25e3, 55e3)
    beat = ticking(rng, 1 / rng.uniform(10, 30), 1e-3)
    verse_s = rng.uniform(0.5, 2.0)

    def one(own: np.random.Generator, k: int) -> F64:
        at_s = grid(length_s)
        teeth = scattered(own, 1200.0)
        teeth = teeth[(teeth > 0) & (teeth < length_s)]
        late = at_s[:, None] - teeth
        rings = np.where(late > 0, np.exp(-np.maximum(late, 0) * 9e3) * np.sin(2 * np.pi * centre * late), 0)
        return np.asarray(rings.sum(axis=1) + 1e-3 * noise(own, "white", len(at_s)))

    return clips(rng, beat[(beat / verse_s) % 1.0 < 0.7], one, level_dbfs, 2.0)
