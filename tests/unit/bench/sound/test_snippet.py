"""Snippets: samples, levels and frequencies as they went in, within the snippet's stated precision."""

import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from curbtick.errors import InputError
from curbtick.sound import snippet as waves
from scipy.io import wavfile

RATE_HZ = 250_000


def _tail(samples: np.ndarray, shift: int, envelope: bytes = b"") -> tuple[dict[str, Any], bytes]:
    packed = np.clip(np.round(samples / (1 << shift)) + 128, 0, 255).astype(np.uint8).tobytes()
    fields = {
        "sample_count": len(samples),
        "envelope_count": len(envelope),
        "rate_hz": RATE_HZ,
        "start_us": 5000,
        "shift": shift,
        "envelope_step_us": 8192,
    }
    return fields, packed + envelope


def _burst(level_db: float, frequency_hz: float, count: int = 512) -> np.ndarray:
    t = np.arange(count) / RATE_HZ
    shape = np.exp(-(((t - 0.001) / 0.0003) ** 2))
    return 2047.5 * 10 ** (level_db / 20) * shape * np.sin(2 * np.pi * frequency_hz * t)


@pytest.mark.parametrize("frequency_hz", [40_000, 48_300, 58_000, 68_700])
@pytest.mark.parametrize(("level_db", "shift"), [(-6.0, 3), (-12.0, 2), (-30.0, 0)])
def test_level_and_frequency_survive_the_snippet(level_db: float, shift: int, frequency_hz: float) -> None:
    snippet = waves.decode(*_tail(_burst(level_db, frequency_hz), shift))
    assert waves.envelope_db(snippet).max() == pytest.approx(level_db, abs=0.15)
    assert waves.centre_hz(snippet) == pytest.approx(frequency_hz, abs=60)


def test_samples_through_the_pad_are_scaled_back() -> None:
    fields, tail = _tail(_burst(-18.0, 48_000), 1)
    assert waves.envelope_db(waves.decode(fields, tail, padded=True)).max() == pytest.approx(-6.0, abs=0.15)


def test_the_envelope_bytes_are_half_decibels_and_255_is_nothing() -> None:
    snippet = waves.decode(*_tail(_burst(-8, 48_000), 2, bytes([0, 17, 255])))
    assert list(snippet.envelope_db) == [0.0, -8.5, waves.FLOOR_DB]


def test_a_snippet_cut_short_is_refused() -> None:
    fields, tail = _tail(_burst(-8, 48_000), 2)
    with pytest.raises(InputError, match="cut short"):
        waves.decode(fields, tail[:-1])


def test_spectrum_and_spectrogram_peak_at_the_tone() -> None:
    tone = 1000 * np.sin(2 * np.pi * 50_000 * np.arange(512) / RATE_HZ)
    snippet = waves.decode(*_tail(tone, 3))
    frequency_hz, level_db = waves.spectrum_db(snippet)
    assert frequency_hz[level_db.argmax()] == pytest.approx(50_000, abs=500)
    assert level_db.max() == pytest.approx(20 * np.log10(1000 / 2047.5), abs=1.5)
    times_s, rows_hz, levels = waves.spectrogram_db(snippet)
    assert levels.shape == (len(rows_hz), len(times_s))
    assert abs(rows_hz[levels.argmax(axis=0)] - 50_000).max() <= 2000


@pytest.mark.parametrize("count", [0, 1, 15])
def test_a_tiny_snippet_breaks_nothing(count: int) -> None:
    snippet = waves.decode(*_tail(np.zeros(count), 0))
    assert len(waves.envelope_db(snippet)) == count
    assert waves.spectrum_db(snippet)[0].size == 0
    assert waves.spectrogram_db(snippet)[2].size == 0


def test_the_wav_file_has_the_true_rate_and_the_adc_scale(tmp_path: Path) -> None:
    snippet = waves.decode(*_tail(_burst(-6, 48_000), 3))
    waves.write_wav(snippet, tmp_path / "burst.wav")
    rate_hz, samples = wavfile.read(tmp_path / "burst.wav")
    assert rate_hz == RATE_HZ and samples.dtype == np.int16
    assert np.abs(samples / 32767 * 2047.5 - snippet.samples).max() < 0.1
    with wave.open(str(tmp_path / "burst.wav")) as found:
        assert found.getnchannels() == 1
    with pytest.raises(InputError, match="cannot be written"):
        waves.write_wav(snippet, tmp_path / "none" / "burst.wav")
