"""Strips of Gaussian noise of a given spectrum, made once for a process and cut at random places."""

from functools import lru_cache

import numpy as np
from scipy import fft

from tests.bench.otheryard.physics.level import BAND_HZ, RATE_HZ
from tests.bench.otheryard.types import F32, F64

# Two copies of unequal length go round; together they repeat after days.
SIZES = (1 << 19, 500_000)
_SEED = 0x57121

# Gain in dB at these frequencies, joined by straight lines over the logarithm of the frequency, as it is in the air.
# A leak is about flat from 10 to 25 kHz (DTU 1997) and falls slowly beyond (our choice); a workshop falls 9 dB an
# octave (common practice); a choked valve has its hump near 40 kHz, what cracks and rubs falls from 5 kHz on (our
# choice).
SPECTRA: dict[str, tuple[tuple[float, float], ...]] = {
    "white": ((1e3, 0.0), (125e3, 0.0)),
    "jet": ((1e3, -24.0), (10e3, 0.0), (26e3, 0.0), (80e3, -6.0), (125e3, -9.0)),
    "valve": ((1e3, -30.0), (20e3, -8.0), (40e3, 0.0), (70e3, -4.0), (125e3, -10.0)),
    "workshop": ((1e3, 0.0), (2e3, 0.0), (64e3, -45.0), (125e3, -54.0)),
    "crunch": ((1e3, -6.0), (5e3, 0.0), (80e3, -24.0), (125e3, -30.0)),
}

# The front end on top: three poles at 3.15 kHz pass 500 Hz with -48 dB and 10 kHz with -1.2 dB, and above 92 kHz it
# falls (hardware_notes/frontend.md: 100 dB SPL at 500 Hz stay below -28 dBFS; 10 kHz loses 1.4 dB; 170 kHz 21 dB).
_LOW_CORNER_HZ, _HIGH_CORNER_HZ = 3150.0, 98e3


def _front_end_db(frequency_hz: F64) -> F64:
    safe_hz = np.maximum(frequency_hz, 1.0)
    low_db = -30 * np.log10(1 + (_LOW_CORNER_HZ / safe_hz) ** 2)
    return np.asarray(low_db - 10 * np.log10(1 + (safe_hz / _HIGH_CORNER_HZ) ** 8))


def _gain(spectrum: str, frequency_hz: F64) -> F64:
    corners = SPECTRA[spectrum]
    at = np.log10([hz for hz, _ in corners])
    gain_db = np.interp(np.log10(np.maximum(frequency_hz, 1.0)), at, [db for _, db in corners])
    return np.asarray(10 ** ((gain_db + _front_end_db(frequency_hz)) / 20))


@lru_cache(maxsize=16)
def strip(spectrum: str, copy: int) -> F32:
    """Samples whose rms over 30 to 80 kHz is that of a full-scale sine (0 dBFS), in a circle without a seam."""
    size = SIZES[copy]
    rng = np.random.default_rng([_SEED, sorted(SPECTRA).index(spectrum), copy])
    bins = size // 2 + 1
    frequency_hz = np.arange(bins) * RATE_HZ / size
    spectral = (rng.standard_normal(bins) + 1j * rng.standard_normal(bins)) * _gain(spectrum, frequency_hz)
    spectral[0] = spectral[-1] = 0
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    power = 2 * np.sum(np.abs(spectral[inside]) ** 2) / size**2
    return np.asarray(fft.irfft(spectral, size) * np.sqrt(0.5 / power), dtype=np.float32)


def cut(spectrum: str, first: int, count: int) -> F32:
    """`count` samples of that noise from `first` on, without a seam: both copies, round and round, mixed."""
    mixed = _circular(strip(spectrum, 0), first, count) + _circular(strip(spectrum, 1), first, count)
    mixed *= np.float32(np.sqrt(0.5))
    return mixed


def _circular(values: F32, first: int, count: int) -> F32:
    start = first % len(values)
    if start + count <= len(values):
        return values[start : start + count]
    return values[np.arange(start, start + count) % len(values)]
