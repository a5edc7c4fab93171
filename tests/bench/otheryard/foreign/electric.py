"""Electric machines: supplies, lamps, telephones, injectors, sparks."""

import numpy as np

from tests.bench.otheryard.foreign.source import FOREIGN, Clips, Steady, clips, grid, noise, rung, ticking
from tests.bench.otheryard.kinds import entered
from tests.bench.otheryard.truth import WINDOW_HZ
from tests.bench.otheryard.types import F64

# Packets of the class's own tone, on a cycle that a parking system has, are what a sibling sounds like: nobody could
# tell them apart. So the packets differ from a sensor's either in tone or in cycle.


@entered(
    FOREIGN,
    "a supply in burst mode: packets of 0.3 to 3 ms, of another tone or another cycle than any sensor",
)
def supply_packets(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    quick = bool(rng.uniform() < 0.5)
    interval_s = rng.uniform(2e-3, 22e-3) if quick else rng.uniform(0.04, 0.4)
    tones = [hz for hz in rng.uniform(26e3, 90e3, 64) if abs(hz - centre_hz) > WINDOW_HZ + 2500]
    tone_hz = rng.uniform(26e3, 90e3) if quick else float(tones[0])
    length_s = min(rng.uniform(0.3e-3, 3e-3), interval_s / 3)

    def packet(own: np.random.Generator, k: int) -> F64:
        at_s = grid(length_s)
        edge = np.minimum(1, np.minimum(at_s, length_s - at_s) / 0.08e-3)
        return np.asarray(edge * np.sin(2 * np.pi * tone_hz * at_s + own.uniform(0, 6.28)))

    return clips(rng, ticking(rng, interval_s, interval_s * rng.uniform(1e-5, 0.03)), packet, level_dbfs, 0.3)


@entered(FOREIGN, "a telephone that is silent: frames every 4.6 ms, or one every 235 ms (GSM, from memory)")
def silent_phone(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    frame_s = 4.615e-3 if rng.uniform() < 0.4 else 0.2354 * int(rng.integers(1, 3))

    def slot(own: np.random.Generator, k: int) -> F64:
        at_s = grid(0.8e-3)
        inside = at_s < 0.577e-3
        step = np.where(inside, 1.0, -np.exp(-(at_s - 0.577e-3) / 30e-6))
        return np.asarray(
            step * np.exp(-np.where(inside, at_s, 0) / 60e-6) + 0.05 * own.normal(size=len(at_s))
        )

    return clips(rng, ticking(rng, frame_s, 1e-6), slot, level_dbfs, 0.2)


@entered(
    FOREIGN,
    "injectors: clicks of 0.2 to 1 ms from several modes, an idling engine's 30 to 45 ms apart or fourfold",
)
def injectors(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    interval_s = rng.uniform(30e-3, 45e-3) * (4 if rng.uniform() < 0.5 else 1)
    seed, quality = int(rng.integers(1 << 40)), rng.uniform(4, 20)

    def click(own: np.random.Generator, k: int) -> F64:
        at_s = grid(1.2e-3)
        return rung(np.random.default_rng([seed, k % 4]), at_s, 12e3, 110e3, 7, quality)

    return clips(rng, ticking(rng, interval_s, interval_s * rng.uniform(0.002, 0.02)), click, level_dbfs, 1.5)


@entered(FOREIGN, "an LED lamp's driver: a steady tone of 35 to 75 kHz, up and down with the mains")
def lamp_driver(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    tone_hz, mains_hz, depth = rng.uniform(35e3, 75e3), rng.choice([100.0, 120.0]), rng.uniform(0.1, 1.0)
    wander_hz = rng.uniform(0, 400)

    def shape(at_s: F64) -> F64:
        beat = 1 - depth * (0.5 + 0.5 * np.cos(2 * np.pi * mains_hz * at_s))
        phase = tone_hz * at_s + wander_hz / mains_hz / 6.28 * np.sin(2 * np.pi * mains_hz * at_s)
        return np.asarray(beat * np.sin(2 * np.pi * phase))

    return Steady(shape, level_dbfs)


@entered(FOREIGN, "arc welding: crackle in the beat of 100 or 120 Hz, or pulsed 40 to 250 times a second")
def welding(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    rate_hz = float(rng.choice([100.0, 120.0, rng.uniform(40, 250)]))
    fall_s = rng.uniform(0.2e-3, 1.5e-3)

    def crackle(own: np.random.Generator, k: int) -> F64:
        at_s = grid(5 * fall_s)
        return np.asarray(noise(own, "jet", len(at_s)) * np.exp(-at_s / fall_s))

    return clips(rng, ticking(rng, 1 / rate_hz, 0.1 / rate_hz), crackle, level_dbfs, 4.0)


@entered(
    FOREIGN,
    "an ignition spark or an electric fence in the wires: spikes of some samples, 20 ms to 1.3 s apart",
)
def sparks(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    interval_s = rng.uniform(20e-3, 60e-3) if rng.uniform() < 0.6 else rng.uniform(0.9, 1.3)

    def spike(own: np.random.Generator, k: int) -> F64:
        at_s = grid(120e-6)
        return np.asarray(np.exp(-at_s / rung_s) * np.cos(2 * np.pi * 95e3 * at_s))

    rung_s = rng.uniform(8e-6, 25e-6)
    return clips(rng, ticking(rng, interval_s, interval_s * 0.01), spike, level_dbfs, 0.5)


@entered(FOREIGN, "an indicator's relay: two clicks a period, 1.2 to 2 periods a second")
def relay(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    period_s = 1 / rng.uniform(1.2, 2.0)
    on = ticking(rng, period_s, 1e-3)
    quality = rng.uniform(5, 25)

    def click(own: np.random.Generator, k: int) -> F64:
        return rung(own, grid(4e-3), 3e3, 90e3, 12, quality)

    return clips(rng, np.sort(np.append(on, on + period_s * rng.uniform(0.4, 0.6))), click, level_dbfs, 1.0)
