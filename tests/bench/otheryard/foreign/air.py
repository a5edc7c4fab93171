"""Compressed air: brakes, valves, jets."""

import numpy as np

from tests.bench.otheryard.foreign.source import FOREIGN, Clips, Hiss, clips, grid, noise, ticking
from tests.bench.otheryard.kinds import entered
from tests.bench.otheryard.types import F64


@entered(FOREIGN, "an air brake lets go: a hiss that dies away within 0.2 to 1.5 s (US 7408448)")
def air_brake(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Hiss:
    starts_s, fall_s = np.cumsum(rng.uniform(0.4, 3.0, 8)) - 1.0, rng.uniform(0.07, 0.5)

    def strength(at_s: F64) -> F64:
        since = at_s[:, None] - starts_s
        return np.asarray(np.max(np.where(since > 0, np.exp(-np.maximum(since, 0) / fall_s), 0), axis=1))

    return Hiss("valve", strength, level_dbfs, int(rng.integers(1 << 40)))


@entered(FOREIGN, "a relief valve that ticks: puffs of 0.4 to 4 ms, every 60 to 400 ms")
def relief_valve(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    interval_s, fall_s = rng.uniform(0.06, 0.4), rng.uniform(0.4e-3, 4e-3)

    def puff(own: np.random.Generator, k: int) -> F64:
        at_s = grid(6 * fall_s)
        return np.asarray(noise(own, "valve", len(at_s)) * np.exp(-at_s / fall_s))

    jitter_s = interval_s * rng.uniform(1e-4, 0.02)
    return clips(rng, ticking(rng, interval_s, jitter_s), puff, level_dbfs)


@entered(FOREIGN, "a pneumatic valve that pulses: gates of 8 to 40 ms, 3 to 12 a second")
def pulsing_valve(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    rate_hz, open_s = rng.uniform(3, 12), rng.uniform(8e-3, 40e-3)

    def gate(own: np.random.Generator, k: int) -> F64:
        at_s = grid(open_s)
        edge = np.minimum(1, np.minimum(at_s, open_s - at_s) / 0.6e-3)
        return np.asarray(noise(own, "jet", len(at_s)) * edge)

    return clips(rng, ticking(rng, 1 / rate_hz, rng.uniform(1e-5, 1e-3)), gate, level_dbfs)


@entered(FOREIGN, "a pressure washer or blow gun: a jet that flutters by some dB")
def blow_gun(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Hiss:
    rate_hz, depth, phase = rng.uniform(1, 25), rng.uniform(0.05, 0.6), rng.uniform(0, 6.28)
    return Hiss(
        "jet",
        lambda at_s: 1 - depth * (0.5 + 0.5 * np.sin(2 * np.pi * rate_hz * at_s + phase)),
        level_dbfs,
        int(rng.integers(1 << 40)),
    )


@entered(FOREIGN, "a compressor's intake: hiss that beats 8 to 25 times a second")
def compressor(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Hiss:
    rate_hz, sharp = rng.uniform(8, 25), rng.uniform(2, 8)
    return Hiss(
        "workshop",
        lambda at_s: np.abs(np.sin(np.pi * rate_hz * at_s)) ** sharp,
        level_dbfs,
        int(rng.integers(1 << 40)),
    )
