"""Three simple ways of working that the probe is held against, in float on the same samples: each gives one level.

A narrowband 40 kHz pick-up; the peak of the wideband signal; the peak of one long FFT. Whatever threshold is put on a
level, it says good above and bad below.
"""

import numpy as np
import scipy.signal as ss

RATE_HZ = 250_000.0
FULL_SCALE = 2047.5
WAYS = ("narrowband_40_khz", "wideband_peak", "long_fft")

# A 40 kHz pick-up of 2 kHz bandwidth: nearly blind 3 kHz away (common practice).
_PICKUP = ss.iirpeak(40_000, 20, fs=RATE_HZ)


def narrowband_40_khz(signal: np.ndarray) -> float:
    """Peak of the 40 kHz pick-up's output."""
    return float(np.max(np.abs(ss.lfilter(*_PICKUP, signal))))


def wideband_peak(signal: np.ndarray) -> float:
    """Peak of the samples."""
    return float(np.max(np.abs(signal)))


def long_fft(signal: np.ndarray) -> float:
    """Highest line between 30 and 80 kHz of one FFT over all of the time."""
    line = 2 * np.abs(np.fft.rfft(signal)) / len(signal)
    low, high = (round(f * len(signal) / RATE_HZ) for f in (30e3, 80e3))
    return float(np.max(line[low:high]))


def all_see(samples: np.ndarray) -> dict[str, float]:
    """What each way sees in samples 0..4095 at 250 kS/s."""
    signal = (samples.astype(np.float64) - 2048.0) / FULL_SCALE
    return {
        "narrowband_40_khz": narrowband_40_khz(signal),
        "wideband_peak": wideband_peak(signal),
        "long_fft": long_fft(signal),
    }
