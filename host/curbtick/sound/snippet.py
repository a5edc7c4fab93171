"""What numpy and scipy make of a stored snippet: samples, envelope, spectrum, spectrogram, WAV.

A snippet is the strongest burst's raw samples, cut to 8 bits by `shift`, and a coarse envelope of the whole
reading. 0 dBFS is a sine of FULL_SCALE_CODES peak.
"""

import io
import wave
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from curbtick_wire.sampling import FULL_SCALE_CODES
from numpy.typing import NDArray
from scipy import signal

from curbtick.errors import InputError

BAND_HZ = (30_000.0, 80_000.0)
FLOOR_DB = -120.0
PAD_RATIO = 10 ** (12 / 20)
NOTHING_ABOVE = 255

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Snippet:
    """A stored snippet.

    samples: codes around mid-scale.
    start_us: time of the first sample within the reading.
    step_codes: size of one step of the cut samples: the precision of whatever is measured on them.
    envelope_db: dBFS over the whole reading, envelope_step_us apart.
    """

    samples: Floats
    rate_hz: int
    start_us: int
    step_codes: float
    envelope_db: Floats
    envelope_step_us: int


def decode(fields: Mapping[str, Any], tail: bytes, padded: bool = False) -> Snippet:
    """A snippet record's fields and tail as numbers.

    tail: sample_count bytes of (code - 2048) >> shift, offset by 128, then envelope_count bytes of half dB
    below full scale, 255 where nothing stood above the noise. padded: whether the reading's input was the
    one through the pad, whose samples are scaled back here.
    Raises InputError for a tail that is too short.
    """
    count, envelope_count = fields["sample_count"], fields["envelope_count"]
    if len(tail) < count + envelope_count:
        raise InputError(
            "The snippet of this reading is cut short.",
            "The reading itself is whole.",
            "Take the reading's numbers.",
        )
    step = (1 << fields["shift"]) * (PAD_RATIO if padded else 1.0)
    samples = (np.frombuffer(tail[:count], dtype=np.uint8).astype(np.float64) - 128) * step
    halves = np.frombuffer(tail[count : count + envelope_count], dtype=np.uint8).astype(np.float64)
    levels = np.where(halves == NOTHING_ABOVE, FLOOR_DB, -halves / 2)
    return Snippet(samples, fields["rate_hz"], fields["start_us"], step, levels, fields["envelope_step_us"])


def envelope_db(snippet: Snippet) -> Floats:
    """Analytic envelope over 30-80 kHz of the samples, dBFS."""
    if len(snippet.samples) < 16:
        return np.full(len(snippet.samples), FLOOR_DB)
    spectrum = np.fft.fft(snippet.samples - snippet.samples.mean())
    frequency_hz = np.fft.fftfreq(len(snippet.samples), 1 / snippet.rate_hz)
    in_band = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    return to_db(np.abs(np.fft.ifft(np.where(in_band, 2 * spectrum, 0))) / FULL_SCALE_CODES)


def spectrum_db(snippet: Snippet) -> tuple[Floats, Floats]:
    """(frequency in Hz, level in dBFS of a sine there) of the samples under a Hann window."""
    count = len(snippet.samples)
    if count < 16:
        return np.zeros(0), np.zeros(0)
    window = signal.windows.hann(count, sym=False)
    amplitude = 2 * np.abs(np.fft.rfft((snippet.samples - snippet.samples.mean()) * window)) / window.sum()
    return np.fft.rfftfreq(count, 1 / snippet.rate_hz), to_db(amplitude / FULL_SCALE_CODES)


def spectrogram_db(snippet: Snippet, width: int = 64, hop: int = 8) -> tuple[Floats, Floats, Floats]:
    """(times in s from the first sample, frequencies in Hz, levels in dBFS as frequencies x times)."""
    if len(snippet.samples) < width:
        return np.zeros(0), np.zeros(0), np.zeros((0, 0))
    window = signal.windows.hann(width, sym=False)
    frames = np.lib.stride_tricks.sliding_window_view(snippet.samples, width)[::hop] * window
    amplitude = 2 * np.abs(np.fft.rfft(frames, 2 * width, axis=1)) / window.sum()
    times_s = (np.arange(len(frames)) * hop + width / 2) / snippet.rate_hz
    return times_s, np.fft.rfftfreq(2 * width, 1 / snippet.rate_hz), to_db(amplitude.T / FULL_SCALE_CODES)


def centre_hz(snippet: Snippet) -> float:
    """Spectral centre of the part of the burst within 6 dB of its peak; 0 where there is none."""
    envelope = envelope_db(snippet)
    if not len(envelope):
        return 0.0
    strong = np.flatnonzero(envelope >= envelope.max() - 6.0)
    part = snippet.samples[strong[0] : strong[-1] + 1]
    power = np.abs(np.fft.rfft(part * signal.windows.hann(len(part), sym=False), 8192)) ** 2
    frequency_hz = np.fft.rfftfreq(8192, 1 / snippet.rate_hz)
    power[(frequency_hz < BAND_HZ[0]) | (frequency_hz > BAND_HZ[1])] = 0.0
    total = float(power.sum())
    return float((power * frequency_hz).sum() / total) if total else 0.0


def to_db(ratio: Floats) -> Floats:
    """Decibels of an amplitude ratio, never below FLOOR_DB."""
    decibels: Floats = np.maximum(20 * np.log10(np.maximum(ratio, 1e-12)), FLOOR_DB)
    return decibels


def write_wav(snippet: Snippet, path: Path) -> None:
    """Write the samples as mono int16 WAV at their true rate; the file's full scale is the ADC's. Raises
    InputError.
    """
    scaled = np.clip(np.round(snippet.samples * (32767 / FULL_SCALE_CODES)), -32768, 32767).astype("<i2")
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(snippet.rate_hz)
        out.writeframes(scaled.tobytes())
    try:
        path.write_bytes(buffer.getvalue())
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror}.", "The history is unchanged.", "Name another file."
        ) from error
