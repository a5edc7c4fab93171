"""Sounds of a yard that are nobody's burst: bats, keys, footsteps, engine ticks, rain.

Levels are peaks of the analytic envelope over 30-80 kHz on the low input, as for bursts. A bat's call here is a short
downward sweep ending in a nearly constant 45 kHz, 3 to 8 ms long, every 122 to 174 ms irregularly (the field's
hardest imposter for a 48 kHz sensor). The rest is common practice put into figures: bunches of ringing metal for
keys, dull clicks for shoes, a tick each 25-60 ms for an idling engine's injectors, pops for drops on a panel.
"""

import numpy as np

from curbtick.yard.front_end.inputs import codes_of_peak_dbfs
from curbtick.yard.front_end.timebase import WAVE_RATE_HZ
from curbtick.yard.sounds.measured import measure
from curbtick.yard.sounds.sensors import RealWave
from curbtick.yard.sounds.sources import PERIOD_MS, Source, irregular, regular
from curbtick.yard.sounds.waves import Wave


def normalised(shape: RealWave) -> Wave:
    """Return a wave whose level as measured on the low input is 0 dBFS."""
    wave = Wave(shape * np.float32(codes_of_peak_dbfs(0.0)))
    return wave.scaled(10.0 ** (-measure(wave.behind()).level_dbfs / 20.0))


def _seconds(length_ms: float) -> np.ndarray:
    time_s: np.ndarray = np.arange(int(length_ms * 1e-3 * WAVE_RATE_HZ)) / WAVE_RATE_HZ
    return time_s


def bat_call(length_ms: float, end_hz: float, sweep_hz: float) -> Wave:
    """Return a bat's call: sweep_hz above end_hz at the start, falling exponentially towards it."""
    time_s = _seconds(length_ms)
    fall_s = length_ms * 1e-3 / 5.0
    phase = 2.0 * np.pi * (end_hz * time_s - sweep_hz * fall_s * np.exp(-time_s / fall_s))
    window = np.sin(np.pi * time_s / (length_ms * 1e-3)) ** 0.7
    return normalised((window * np.sin(phase)).astype(np.float32))


def bat(random: np.random.Generator, level_dbfs: float) -> Source:
    """Return a bat that calls every 122 to 174 ms around 45 kHz, each call a little different in strength."""
    lengths_ms = random.uniform(3.0, 8.0, 4)
    ends_hz = random.normal(45_000.0, 700.0, 4)
    sweeps_hz = random.uniform(2e3, 25e3, 4)
    calls = tuple(bat_call(*map(float, call)) for call in zip(lengths_ms, ends_hz, sweeps_hz, strict=True))
    times = np.cumsum(random.uniform(122.0, 174.0, 115))
    return irregular("bat", calls, times, random, level_dbfs, spread_db=3.0)


def _ringing(random: np.random.Generator, tones: int, low_hz: float, high_hz: float, decay_ms: float) -> Wave:
    time_s = _seconds(6.0 * decay_ms)
    out = np.zeros(len(time_s))
    for _ in range(tones):
        decay_s = decay_ms * 1e-3 * random.uniform(0.3, 1.0)
        phase = 2.0 * np.pi * (random.uniform(low_hz, high_hz) * time_s + random.random())
        out += random.uniform(0.2, 1.0) * np.exp(-time_s / decay_s) * np.sin(phase)
    return normalised(out.astype(np.float32))


def _pop(random: np.random.Generator, decay_ms: float) -> Wave:
    """Return a click without a tone of its own: noise that dies away."""
    time_s = _seconds(6.0 * decay_ms)
    noise = np.convolve(random.standard_normal(len(time_s)), np.ones(16) / 16.0, mode="same")
    return normalised((noise * np.exp(-time_s / (decay_ms * 1e-3))).astype(np.float32))


def keys(random: np.random.Generator, level_dbfs: float) -> Source:
    """Return a bunch of keys: some jingles a second of ringing metal, 15 to 75 kHz."""
    waves = tuple(_ringing(random, 4, 15e3, 75e3, float(random.uniform(0.5, 2.0))) for _ in range(4))
    times = random.uniform(0.0, PERIOD_MS, int(random.uniform(60, 300)))
    return irregular("keys", waves, times, random, level_dbfs, spread_db=8.0)


def footsteps(random: np.random.Generator, level_dbfs: float) -> Source:
    """Return somebody walking: a dull click about twice a second, grit after it."""
    waves = tuple(_pop(random, float(random.uniform(0.1, 0.6))) for _ in range(4))
    steps = np.cumsum(random.uniform(420.0, 620.0, 38))
    grit = (steps[:, np.newaxis] + random.uniform(5.0, 120.0, (38, 3))).ravel()
    times = np.concatenate([steps, grit])
    return irregular("footsteps", waves, times[times < PERIOD_MS], random, level_dbfs, spread_db=8.0)


def injectors(random: np.random.Generator, level_dbfs: float) -> Source:
    """Return an idling engine's injector ticks: nearly regular, every 25 to 60 ms, never twice the same."""
    waves = tuple(_pop(random, float(random.uniform(0.05, 0.15))) for _ in range(8))
    interval_ms = float(random.uniform(25.0, 60.0))
    source = regular(waves, random, name="injectors", interval_ms=interval_ms, jitter_us=interval_ms * 15.0)
    return source.louder(level_dbfs)


def drops(random: np.random.Generator, level_dbfs: float) -> Source:
    """Return rain on a panel: 20 to 120 pops a second, most of them far weaker than the strongest."""
    waves = tuple(_pop(random, float(random.uniform(0.05, 0.2))) for _ in range(6))
    times = random.uniform(0.0, PERIOD_MS, int(random.uniform(20.0, 120.0) * PERIOD_MS / 1e3))
    return irregular("drops", waves, times, random, level_dbfs, spread_db=15.0)


KINDS = {"bat": bat, "keys": keys, "footsteps": footsteps, "injectors": injectors, "drops": drops}
