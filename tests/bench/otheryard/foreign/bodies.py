"""Things that fall, rub, jangle and squeal."""

import numpy as np

from tests.bench.otheryard.foreign.source import (
    FOREIGN,
    SECONDS,
    Clips,
    Steady,
    clips,
    grid,
    noise,
    rung,
    scattered,
    ticking,
)
from tests.bench.otheryard.kinds import entered
from tests.bench.otheryard.types import F64


@entered(FOREIGN, "keys: struck bodies of many modes, in shakes of 2 to 6 a second")
def keys(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    shakes = ticking(rng, 1 / rng.uniform(2, 6), 0.03)
    starts = np.sort(np.concatenate([shake + rng.exponential(0.02, rng.poisson(6)) for shake in shakes]))

    def strike(own: np.random.Generator, k: int) -> F64:
        return rung(own, grid(8e-3), 5e3, 100e3, 12, own.uniform(60, 250))

    return clips(rng, starts, strike, level_dbfs, 8.0)


@entered(FOREIGN, "a chain or a hook that swings: one jangle every 0.3 to 0.9 s")
def chain(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    swing_s = rng.uniform(0.3, 0.9)

    def jangle(own: np.random.Generator, k: int) -> F64:
        at_s = grid(30e-3)
        return rung(own, at_s, 4e3, 80e3, 10, 120.0) + np.roll(rung(own, at_s, 4e3, 80e3, 10, 120.0), 800)

    return clips(rng, ticking(rng, swing_s, swing_s * 0.05), jangle, level_dbfs, 3.0)


@entered(FOREIGN, "rain on the bumper and the collar: 5 to 200 drops a second")
def rain(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    def drop(own: np.random.Generator, k: int) -> F64:
        at_s = grid(0.8e-3)
        fall = np.exp(-at_s / own.uniform(30e-6, 150e-6))
        return np.asarray(fall * noise(own, "crunch", len(at_s)) + 0.3 * rung(own, at_s, 5e3, 50e3, 3, 8.0))

    return clips(rng, scattered(rng, 10 ** rng.uniform(0.7, 2.3)), drop, level_dbfs, 9.0)


@entered(FOREIGN, "steps on gravel: bunches of cracks, twice a second")
def gravel(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    steps = ticking(rng, 1 / rng.uniform(1.5, 2.2), 0.02)
    starts = np.sort(np.concatenate([step + np.abs(rng.normal(0, 0.06, rng.poisson(40))) for step in steps]))

    def crack(own: np.random.Generator, k: int) -> F64:
        at_s = grid(0.6e-3)
        return np.asarray(noise(own, "crunch", len(at_s)) * np.exp(-at_s / own.uniform(20e-6, 120e-6)))

    return clips(rng, starts, crack, level_dbfs, 10.0)


@entered(FOREIGN, "a hand that rubs along the collar: scrapes of 30 to 200 ms")
def rubbing(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    def scrape(own: np.random.Generator, k: int) -> F64:
        at_s = grid(own.uniform(0.03, 0.2))
        grain = np.repeat(own.gamma(0.5, 2.0, len(at_s) // 100 + 1), 100)[: len(at_s)]
        return np.asarray(noise(own, "crunch", len(at_s)) * grain * np.sin(np.pi * at_s / at_s[-1]))

    return clips(rng, scattered(rng, rng.uniform(1, 5)), scrape, level_dbfs, 4.0)


@entered(
    FOREIGN, "a wheel or a brake that squeals: a gliding tone of 9 to 16 kHz with harmonics up to 70 kHz"
)
def squeal(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    base_hz = rng.uniform(9e3, 16e3)

    def cry(own: np.random.Generator, k: int) -> F64:
        at_s = grid(own.uniform(0.05, 0.6))
        glide = base_hz * (1 + 0.03 * np.sin(2 * np.pi * own.uniform(1, 6) * at_s))
        phase = 2 * np.pi * np.cumsum(glide) / 250_000
        tones = sum(np.sin(n * phase + n) / n for n in range(1, int(72e3 / base_hz) + 1))
        return np.asarray(tones * np.abs(np.sin(np.pi * at_s / at_s[-1])) ** 0.5)

    starts_s = np.cumsum(rng.uniform(0.3, 1.5, 12)) - 0.8
    return clips(rng, starts_s[starts_s < SECONDS], cry, level_dbfs, 3.0)


@entered(FOREIGN, "a reversing beeper: a square wave of 1.2 to 3 kHz, half a second on and half off")
def reversing_beeper(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    tone_hz, period_s, phase = rng.uniform(1200, 3000), rng.uniform(0.8, 1.1), rng.uniform(0, 1)

    def shape(at_s: F64) -> F64:
        on = ((at_s / period_s + phase) % 1.0) < 0.5
        # What the chains leave of the fundamental is small; the edges carry the harmonics.
        value = np.sign(np.sin(2 * np.pi * tone_hz * at_s))
        edges = np.diff(value, prepend=value[0])
        return np.asarray(on * (0.5 * edges + 0.05 * value))

    return Steady(shape, level_dbfs)
