"""What a burst is, measured in float from its noise-free shape: the yard's truth about one burst.

The definitions are the design's: the analytic envelope over 30-80 kHz, its peak; frequency, sweep and length over
the part within 6 dB of the peak; ring-down from the peak to -20 dB. The band's edges are raised cosines 2 kHz wide
either way, so that the band itself does not ring.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from curbtick_wire.sampling import FULL_SCALE_CODES
from scipy import fft

from curbtick.yard.front_end.inputs import BAND_HIGH_HZ, BAND_LOW_HZ, ComplexArray, FloatArray, Volts
from curbtick.yard.front_end.timebase import TICKS_PER_US, WAVE_RATE_HZ
from curbtick.yard.sounds.waves import transform_size

EDGE_HZ = 2_000.0
TOP_DB = 0.5
NEAR_DB = 3.0


@dataclass(frozen=True)
class BurstTruth:
    """One burst: level in dBFS, frequency and sweep in Hz, length and ring-down in microseconds.

    ringdown_least_us, ringdown_most_us: the ring-down from the last moment within 0.5 dB of the peak to 3 dB above
    -20 dB, and from the first such moment to 3 dB below; they lie far apart where the top is flat, or where a
    reflection holds the tail near -20 dB: there a notch is as deep as the bandwidth it is seen with.
    """

    level_dbfs: float
    frequency_hz: float
    sweep_hz: float
    length_us: float
    ringdown_us: float
    ringdown_least_us: float
    ringdown_most_us: float


def band_gain(frequency_hz: FloatArray) -> FloatArray:
    """Return the gain of the 30-80 kHz band at frequencies in Hz: 1 inside, 0.5 at 30 and 80 kHz, 0 outside."""
    low = np.clip((frequency_hz - BAND_LOW_HZ) / EDGE_HZ, -1.0, 1.0)
    high = np.clip((BAND_HIGH_HZ - frequency_hz) / EDGE_HZ, -1.0, 1.0)
    gain: FloatArray = (1.0 + np.sin(np.pi / 2 * low)) * (1.0 + np.sin(np.pi / 2 * high)) / 4.0
    return gain


@lru_cache(maxsize=128)
def _band(size: int, rate_hz: float) -> FloatArray:
    return 2.0 * band_gain(np.arange(int((BAND_HIGH_HZ + EDGE_HZ) * size / rate_hz) + 1) * rate_hz / size)


def analytic(wave: Volts, rate_hz: float = WAVE_RATE_HZ) -> ComplexArray:
    """Return the analytic signal over 30-80 kHz of a wave at rate_hz (by default one value per tick)."""
    size = transform_size(len(wave) + int(rate_hz * 1e-3))
    band = _band(size, rate_hz)
    spectrum = np.zeros(size, dtype=np.complex128)
    spectrum[: len(band)] = fft.rfft(wave.astype(np.float64), size)[: len(band)] * band
    out: ComplexArray = fft.ifft(spectrum)[: len(wave)]
    return out


def _strong_part(envelope: FloatArray) -> tuple[int, int, int]:
    """Return start, peak and end of the unbroken part around the peak within 6 dB of it."""
    peak = int(np.argmax(envelope))
    low = envelope < envelope[peak] * 10.0 ** (-6.0 / 20.0)
    before = np.flatnonzero(low[:peak])
    after = np.flatnonzero(low[peak:])
    start = int(before[-1]) + 1 if len(before) else 0
    end = peak + int(after[0]) if len(after) else len(envelope)
    return start, peak, end


def _frequency_hz(part: ComplexArray) -> float:
    """Spectral centre: the power-weighted mean of the instantaneous frequency, which is the spectrum's centroid."""
    turn = np.angle(part[1:] * np.conj(part[:-1]))
    weight = np.abs(part[1:]) ** 2
    return float((turn * weight).sum() / weight.sum() * WAVE_RATE_HZ / (2.0 * np.pi))


def _fall_us(tail: FloatArray, below_db: float) -> float:
    """Return how long an envelope that starts at its peak takes to fall so far below it."""
    faint = np.flatnonzero(tail < tail[0] * 10.0 ** (-below_db / 20.0))
    return float(faint[0] if len(faint) else len(tail)) / TICKS_PER_US


def measure(wave: Volts) -> BurstTruth:
    """Measure a burst from its noise-free wave behind the front end, in codes, one value per tick."""
    signal = analytic(wave)
    envelope = np.abs(signal)
    start, peak, end = _strong_part(envelope)
    part = signal[start:end]
    third = max(2, len(part) // 3)
    tail = envelope[peak:]
    near_top = np.flatnonzero(envelope[start:end] >= envelope[peak] * 10.0 ** (-TOP_DB / 20.0)) + start
    return BurstTruth(
        level_dbfs=float(20.0 * np.log10(envelope[peak] / FULL_SCALE_CODES)),
        frequency_hz=_frequency_hz(part),
        sweep_hz=_frequency_hz(part[-third:]) - _frequency_hz(part[:third]),
        length_us=(end - start) / TICKS_PER_US,
        ringdown_us=_fall_us(tail, 20.0),
        ringdown_least_us=_fall_us(tail, 20.0 - NEAR_DB) - float(near_top[-1] - peak) / TICKS_PER_US,
        ringdown_most_us=_fall_us(tail, 20.0 + NEAR_DB) + float(peak - near_top[0]) / TICKS_PER_US,
    )
