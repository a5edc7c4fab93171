"""Three simple ways of working that the probe is held against, in float on the same samples. Each says good or not.

A narrowband 40 kHz pick-up with a threshold; the peak of the wideband signal; the peak of one long FFT. The threshold
of each is the probe's own pass limit of -17 dBFS, for the FFT after the share of time a healthy burst lasts.
"""

import numpy as np
import scipy.signal as ss

RATE_HZ = 250_000.0
THRESHOLD = 10 ** (-17 / 20)
FULL_SCALE = 2047.5
WAYS = ("narrowband_40_khz", "wideband_peak", "long_fft")

# A 40 kHz pick-up of 2 kHz bandwidth: nearly blind 3 kHz away (common practice).
_PICKUP = ss.iirpeak(40_000, 20, fs=RATE_HZ)

# In one FFT of all the time a burst of 0.4 ms every 200 ms has its energy spread over about 1 / 0.4 ms.
_BURST_SHARE = 0.4e-3 / 0.2


def narrowband_40_khz(signal: np.ndarray) -> bool:
    """Say good where the 40 kHz pick-up's output passes the threshold."""
    return bool(np.max(np.abs(ss.lfilter(*_PICKUP, signal))) >= THRESHOLD)


def wideband_peak(signal: np.ndarray) -> bool:
    """Say good where any sample passes the threshold."""
    return bool(np.max(np.abs(signal)) >= THRESHOLD)


def long_fft(signal: np.ndarray) -> bool:
    """Say good where a line between 30 and 80 kHz of one FFT passes the threshold times a burst's share of the time."""
    line = 2 * np.abs(np.fft.rfft(signal)) / len(signal)
    low, high = (round(f * len(signal) / RATE_HZ) for f in (30e3, 80e3))
    return bool(np.max(line[low:high]) >= THRESHOLD * _BURST_SHARE)


def all_say(samples: np.ndarray) -> dict[str, bool]:
    """What each way says of samples 0..4095 at 250 kS/s."""
    signal = (samples.astype(np.float64) - 2048.0) / FULL_SCALE
    return {
        "narrowband_40_khz": narrowband_40_khz(signal),
        "wideband_peak": wideband_peak(signal),
        "long_fft": long_fft(signal),
    }
