"""Devices that send ultrasound on purpose, and other vehicles' parking systems."""

import numpy as np

from tests.bench.otheryard.foreign.source import FOREIGN, Clips, Steady, clips, grid, ticking
from tests.bench.otheryard.kinds import entered
from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.types import F64


@entered(FOREIGN, "a pest repeller: a tone that sweeps 20 to 65 kHz in 0.05 to 2 s, steady or in gates")
def pest_repeller(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    period_s, low_hz, high_hz = 10 ** rng.uniform(-1.3, 0.3), rng.uniform(18e3, 28e3), rng.uniform(40e3, 65e3)
    gate_s, duty = rng.uniform(0.2, 1.5), rng.uniform(0.4, 1.1)

    def shape(at_s: F64) -> F64:
        part = (at_s / period_s) % 1.0
        # Phase of a sweep that starts again each period: the integral of the frequency within the period.
        phase = period_s * (low_hz * part + (high_hz - low_hz) * part**2 / 2)
        return np.asarray(np.sin(2 * np.pi * phase) * (((at_s / gate_s) % 1.0) < duty))

    return Steady(shape, level_dbfs)


@entered(FOREIGN, "a motion detector: a steady tone of 25, 32 or 40 kHz that beats as somebody walks")
def motion_detector(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    tone_hz = float(rng.choice([25e3, 32.8e3, 40e3])) + rng.normal(0, 50)
    beat_hz, depth = 2 * tone_hz * rng.uniform(0.2, 1.5) / 343, rng.uniform(0.0, 0.3)

    def shape(at_s: F64) -> F64:
        carrier = np.sin(2 * np.pi * tone_hz * at_s)
        return np.asarray((carrier + depth * np.sin(2 * np.pi * (tone_hz + beat_hz) * at_s)) / (1 + depth))

    return Steady(shape, level_dbfs)


@entered(
    FOREIGN, "an ultrasonic cleaner: 38 to 42 kHz in half waves of the mains, with the crackle of bubbles"
)
def cleaner(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    tone_hz, mains_hz = rng.uniform(38e3, 42e3), float(rng.choice([50.0, 60.0]))
    sweep_hz, seed = rng.uniform(0, 800), int(rng.integers(1 << 31))

    def shape(at_s: F64) -> F64:
        half_wave = np.abs(np.sin(2 * np.pi * mains_hz * at_s))
        phase = tone_hz * at_s + sweep_hz / (2 * np.pi * 20) * np.sin(2 * np.pi * 20 * at_s)
        tones = np.sin(2 * np.pi * phase) + 0.2 * np.sin(np.pi * phase) + 0.15 * np.sin(3 * np.pi * phase)
        bubbles = np.random.default_rng([seed, round(at_s[0] * RATE_HZ)]).normal(0, 0.08, len(at_s))
        return np.asarray(half_wave * (tones + bubbles) / 1.35)

    return Steady(shape, level_dbfs)


@entered(FOREIGN, "a level gauge or a forklift's range finder: packets every 60 to 120 ms, up to -60 dBFS")
def range_finder(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Clips:
    tone_hz, cycles = rng.choice([40e3, 75e3]) + rng.normal(0, 300), int(rng.integers(8, 30))

    def packet(own: np.random.Generator, k: int) -> F64:
        at_s = grid(cycles / tone_hz + 0.6e-3)
        rise = 1 - np.exp(-at_s / 0.1e-3)
        fall = np.exp(-np.maximum(at_s - cycles / tone_hz, 0) / 0.12e-3)
        return np.asarray(rise * fall * np.sin(2 * np.pi * tone_hz * at_s + own.uniform(0, 6.28)))

    return clips(rng, ticking(rng, rng.uniform(0.06, 0.12), 20e-6), packet, min(level_dbfs, -60.0), 0.3)


@entered(
    FOREIGN, "an unlock remote's or a tool's motor whine: tones of 17 to 24 kHz and their multiples, gliding"
)
def motor_whine(rng: np.random.Generator, centre_hz: float, level_dbfs: float) -> Steady:
    carrier_hz, shaft_hz = rng.uniform(16e3, 24e3), rng.uniform(40, 400)

    def shape(at_s: F64) -> F64:
        # Pulse width modulation: side tones on either side of the carrier and of its multiples.
        wander = 0.2 * np.sin(2 * np.pi * 0.7 * at_s)
        tones = sum(
            np.sin(2 * np.pi * ((n * carrier_hz + side * shaft_hz) * at_s + side * wander))
            / (n * (1 + abs(side)))
            for n in (1, 2, 3)
            for side in (-2, 0, 2)
        )
        return np.asarray(tones / 4)

    return Steady(shape, level_dbfs)
