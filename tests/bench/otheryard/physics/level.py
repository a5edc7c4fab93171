"""Levels: what a burst's level is by DESIGN's definition, and the ways between dB and amplitude."""

import numpy as np
from scipy import fft

from tests.bench.otheryard.types import C128, F32, F64

RATE_HZ = 250_000
BAND_HZ = (30_000, 80_000)
FULL_SCALE_CODES = 2047.5


def amplitude(level_db: float) -> float:
    """Amplitude of a sine of that level; full scale is 1."""
    return float(10 ** (level_db / 20))


def decibel(value: float) -> float:
    """Level of an amplitude."""
    return float(20 * np.log10(value))


def _analytic(wave: F32 | F64) -> C128:
    """The analytic signal over 30 to 80 kHz of a wave at RATE_HZ that begins and ends in silence."""
    size = fft.next_fast_len(len(wave) + 256)
    frequency_hz = fft.fftfreq(size, 1 / RATE_HZ)
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    return np.asarray(fft.ifft(np.where(inside, 2 * fft.fft(wave, size), 0)))


def envelope(wave: F32 | F64) -> F64:
    """The analytic envelope over 30 to 80 kHz."""
    return np.asarray(np.abs(_analytic(wave)))


def burst_level_db(wave: F32 | F64) -> float:
    """Level of a burst: the peak of its analytic envelope over 30 to 80 kHz."""
    return decibel(float(envelope(wave).max()))


def time_within_db(wave: F32 | F64, below_peak_db: float) -> float:
    """Seconds between the first and the last time that the envelope is within so many dB of its peak."""
    shape = envelope(wave)
    loud = np.flatnonzero(shape >= shape.max() * amplitude(-below_peak_db))
    return float(loud[-1] - loud[0]) / RATE_HZ


def centre_hz(wave: F32 | F64) -> float:
    """Spectral centre over the part within 6 dB of the envelope's peak: the power-weighted mean frequency there."""
    analytic = _analytic(wave)
    loud = np.abs(analytic) >= np.abs(analytic).max() * amplitude(-6)
    power = np.abs(fft.fft(np.where(loud, analytic, 0))) ** 2
    frequency_hz = fft.fftfreq(len(analytic), 1 / RATE_HZ)
    return float(np.sum(power * frequency_hz) / np.sum(power))


def fall_time(wave: F32 | F64, below_peak_db: float) -> float:
    """Seconds from the envelope's peak until it has fallen by so many dB for the last time."""
    shape = envelope(wave)
    loud = np.flatnonzero(shape >= shape.max() * amplitude(-below_peak_db))
    return float(loud[-1] - shape.argmax()) / RATE_HZ
