"""What the tests share: the codes of a scene, and an envelope measured another way than the yard measures its own."""

import numpy as np
from curbtick_wire.names import INPUT_LOW
from scipy.signal import fftconvolve, find_peaks, firwin, hilbert

from tests.bench.otheryard.physics.level import RATE_HZ

BANDPASS = firwin(257, [29e3, 81e3], pass_zero=False, fs=RATE_HZ)
SINE_RMS_CODES = 2047.5 / np.sqrt(2)


def codes(scene: object, seconds: float, input_: int = INPUT_LOW, start_us: int = 0) -> np.ndarray:
    """The scene's codes, block by block, as the probe reads them."""
    blocks = int(seconds * RATE_HZ / 1024)
    return np.concatenate([scene.read(1024, input_, start_us + 4096 * n) for n in range(blocks)])  # type: ignore[attr-defined]


def envelope(read: np.ndarray) -> np.ndarray:
    """Envelope of the codes in the band by a linear-phase filter and the analytic signal, full scales."""
    band = fftconvolve((read - np.mean(read)) / 2047.5, BANDPASS, mode="same")
    return np.abs(hilbert(band))


def bursts(read: np.ndarray, least_dbfs: float, apart_s: float = 0.02) -> tuple[np.ndarray, np.ndarray]:
    """Times in seconds and levels in dBFS of the envelope's peaks, corrected for the noise's power."""
    shape = envelope(read)
    noise_power = np.median(shape) ** 2 / np.log(2)
    at, _ = find_peaks(shape, height=10 ** (least_dbfs / 20), distance=int(apart_s * RATE_HZ))
    return at / RATE_HZ, 10 * np.log10(shape[at] ** 2 - noise_power)


def band_rms_dbfs(read: np.ndarray) -> float:
    """Rms over 30 to 80 kHz by the power spectrum, dB of a full-scale sine."""
    spectrum = np.fft.rfft(read - np.mean(read))
    hz = np.fft.rfftfreq(len(read), 1 / RATE_HZ)
    inside = (hz >= 30e3) & (hz <= 80e3)
    rms_codes = np.sqrt(2 * np.sum(np.abs(spectrum[inside]) ** 2)) / len(read)
    return float(20 * np.log10(rms_codes / SINE_RMS_CODES))
