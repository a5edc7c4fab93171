"""`curbtick replay`: files of every kind through the real firmware, and every way in which a file can be bad."""

import json
import os
import struct
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from curbtick.errors import InputError
from curbtick.sound.recording import Recording, read_wav
from curbtick.sound.schema import READING_SCHEMA
from curbtick.virtual.replay import resample
from curbtick.virtual.replay.bumper import parse_class, replay
from curbtick.virtual.replay.resample import to_probe_rate
from curbtick_wire.classes import CLASSES_KHZ
from numpy.typing import NDArray
from scipy.signal import resample_poly

PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
# The command runs what these tests import, installed or not.
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
BURST_S, INTERVAL_S, FIRST_S, DURATION_S = 0.4e-3, 0.2, 0.15, 1.5


def train(rate_hz: int, peak: float = 0.4, frequency_hz: float = 48_000.0) -> NDArray[np.float64]:
    """Bursts with a raised-cosine envelope of 0.8 ms (0.4 ms at half height), peak of full scale, on time."""
    time_s = np.arange(round(DURATION_S * rate_hz)) / rate_hz
    samples = np.zeros_like(time_s)
    for start_s in np.arange(FIRST_S, DURATION_S - 2 * BURST_S, INTERVAL_S):
        phase = (time_s - start_s) / (2 * BURST_S)
        inside = (phase >= 0) & (phase < 1)
        envelope = 0.5 - 0.5 * np.cos(2 * np.pi * phase[inside])
        samples[inside] += peak * envelope * np.sin(2 * np.pi * frequency_hz * time_s[inside])
    return samples


def encode(samples: NDArray[np.float64], tag: int, bits: int) -> bytes:
    if tag == FLOAT:
        return samples.astype("<f4" if bits == 32 else "<f8").tobytes()
    whole = np.round(samples * (2 ** (bits - 1) - 1)).astype("<i4")
    raw = whole.view(np.uint8).reshape(-1, 4)
    return raw[:, : bits // 8].tobytes()


def riff(
    path: Path,
    samples: NDArray[np.float64],
    rate_hz: int,
    tag: int = PCM,
    bits: int = 16,
    channels: int = 1,
    extensible: bool = False,
) -> Path:
    """Write a WAV by hand, so that the reader is not tested against itself."""
    body = encode(samples, tag, bits)
    width = channels * bits // 8
    form = struct.pack(
        "<HHIIHH", EXTENSIBLE if extensible else tag, channels, rate_hz, rate_hz * width, width, bits
    )
    if extensible:
        form += struct.pack("<HHIH14s", 22, bits, 4, tag, b"\0\0\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71")
    chunks = b"fmt " + struct.pack("<I", len(form)) + form
    chunks += b"LIST" + struct.pack("<I", 3) + b"abc\0"
    chunks += b"data" + struct.pack("<I", len(body)) + body
    path.write_bytes(b"RIFF" + struct.pack("<I", 4 + len(chunks)) + b"WAVE" + chunks)
    return path


def check_schema(found: dict[str, Any]) -> None:
    assert set(READING_SCHEMA["required"]) <= set(found)
    for burst in found["bursts"]:
        assert set(burst) == {"time_ms", "level_db", "frequency_hz", "length_ms", "kind"}


@pytest.mark.parametrize(
    ("rate_hz", "tag", "bits", "extensible"),
    [
        (250_000, PCM, 16, False),
        (192_000, PCM, 24, False),
        (384_000, PCM, 32, True),
        (160_000, FLOAT, 32, False),
        (500_000, FLOAT, 64, True),
        (220_500, PCM, 16, False),
    ],
)
def test_files_of_every_kind_and_rate_give_the_same_reading(
    tmp_path: Path, rate_hz: int, tag: int, bits: int, extensible: bool
) -> None:
    path = riff(tmp_path / "a.wav", train(rate_hz), rate_hz, tag, bits, extensible=extensible)
    found = replay(read_wav(path), class_khz=48)
    check_schema(found)
    assert (found["verdict"], found["reasons"]) == ("pass", [])
    assert found["level_db"] == pytest.approx(20 * np.log10(0.4), abs=0.5)
    assert found["frequency_hz"] == pytest.approx(48_000, abs=150)
    assert found["interval_ms"] == pytest.approx(200.0, abs=0.1)
    held = [burst for burst in found["bursts"] if burst["kind"] == "held"]
    assert len(held) == found["burst_count"] >= 3
    starts_ms = [FIRST_S * 1000 + place * 200 for place in range(len(held))]
    assert [burst["time_ms"] for burst in held] == pytest.approx(starts_ms, abs=0.7)
    assert found["time_to_verdict_ms"] < 800, "a clear pass stops early"


@pytest.mark.parametrize("class_khz", CLASSES_KHZ)
def test_auto_takes_the_nearest_class(class_khz: int) -> None:
    recording = Recording(train(250_000, frequency_hz=class_khz * 1000 + 1500), 250_000)
    found = replay(recording)
    assert (found["verdict"], found["class_khz"]) == ("pass", class_khz)


def test_the_class_asked_for_is_judged_and_auto_judges_no_frequency() -> None:
    recording = Recording(train(250_000, frequency_hz=53_000.0), 250_000)
    assert replay(recording)["verdict"] == "pass"
    found = replay(recording, class_khz=40)
    assert (found["verdict"], found["reasons"], found["class_khz"]) == ("weak", ["off_frequency"], 40)


def test_gain_moves_the_level() -> None:
    recording = Recording(train(250_000, peak=0.4), 250_000)
    assert replay(recording, gain_db=-16.0)["reasons"] == ["low_level"]
    assert replay(recording, gain_db=-8.0)["level_db"] == pytest.approx(20 * np.log10(0.4) - 8.0, abs=0.5)


def test_past_its_end_a_file_is_silent() -> None:
    found = replay(Recording(np.zeros(1), 250_000), class_khz=48)
    assert (found["verdict"], found["reasons"]) == ("retry", ["nothing_heard"])
    assert found["level_db"] is found["frequency_hz"] is found["interval_ms"] is None


def test_clipping_is_never_a_verdict() -> None:
    found = replay(Recording(train(250_000, peak=0.9), 250_000), gain_db=30.0, class_khz=48)
    assert found["verdict"] == "retry" and "clipped" in found["reasons"]


def test_a_seed_gives_the_same_object_again_and_another_seed_other_noise() -> None:
    recording = Recording(train(250_000), 250_000)
    one, again, other = replay(recording, seed=1), replay(recording, seed=1), replay(recording, seed=2)
    assert one == again != other


def test_resampling_keeps_the_band_and_stops_what_would_fold_into_it() -> None:
    """Against the definition: a sine below the slower Nyquist rate stays itself, one above it is gone."""
    cases = ((160_000, 76_000, None), (300_000, 110_000, 140_000), (500_000, 80_000, 170_000))
    for rate_hz, inside_hz, outside_hz in cases:
        time_s = np.arange(rate_hz // 5) / rate_hz
        kept = to_probe_rate(Recording(np.sin(2 * np.pi * inside_hz * time_s), rate_hz))
        ideal = np.sin(2 * np.pi * inside_hz * np.arange(len(kept)) / 250_000)
        middle = slice(len(kept) // 4, -len(kept) // 4)
        assert np.max(np.abs(kept - ideal)[middle]) < 1e-3
        if outside_hz:
            folded = to_probe_rate(Recording(np.sin(2 * np.pi * outside_hz * time_s), rate_hz))
            assert np.max(np.abs(folded[middle])) < 2e-4


@pytest.mark.parametrize("rate_hz", [160_000, 176_400, 192_000, 192_001, 250_013, 384_000, 1_000_000])
def test_resampling_gives_what_scipy_gives(rate_hz: int) -> None:
    """scipy.signal.resample_poly with the same filter is the reference; lengths near a frame's end are tried too."""
    ratio = Fraction(250_000, rate_hz).limit_denominator(1000)
    up, down = ratio.numerator, ratio.denominator
    taps = resample.low_pass(max(up, down))
    random = np.random.default_rng(rate_hz)
    for count in (1, 2, down, down + 1, 2 * down - 1, 1000, 128 * down, 20_011):
        samples = random.standard_normal(count)
        expected = resample_poly(samples, up, down, window=taps)
        found = resample.resample(samples, up, down, taps)
        assert len(found) == len(expected)
        assert np.max(np.abs(found - expected)) < 1e-12


def test_an_odd_rate_keeps_time_to_a_millionth() -> None:
    rate_hz = 250_013
    kept = to_probe_rate(Recording(np.zeros(rate_hz), rate_hz))
    assert abs(len(kept) - 250_000) <= 1 + 250_000 * Fraction(1, 10**6) * 60


BAD = {
    "stereo": lambda path: riff(path, train(250_000), 250_000, channels=2),
    "channels": lambda path: riff(path, train(250_000), 250_000, channels=6),
    "too slow": lambda path: riff(path, train(96_000), 96_000),
    "empty": lambda path: path.write_bytes(b""),
    "holds no samples": lambda path: riff(path, np.zeros(0), 250_000),
    "not a WAV": lambda path: path.write_bytes(b"fLaC" + bytes(100)),
    "truncated": lambda path: path.write_bytes(riff(path, train(250_000), 250_000).read_bytes()[:-1000]),
    "truncated: it has 30 of ": lambda path: path.write_bytes(
        riff(path, train(250_000), 250_000).read_bytes()[:30]
    ),
    "kind": lambda path: riff(path, train(250_000), 250_000, bits=8),
    "not numbers": lambda path: riff(path, np.full(100, np.nan), 250_000, tag=FLOAT, bits=32),
    "cannot be read": lambda path: path.mkdir(),
}
WORDS = {"stereo": "2 channels", "channels": "6 channels"}


@pytest.mark.parametrize("what", BAD)
def test_a_bad_file_is_named_and_no_reading_made(tmp_path: Path, what: str) -> None:
    path = tmp_path / "bad.wav"
    BAD[what](path)
    with pytest.raises(InputError) as caught:
        read_wav(path)
    assert WORDS.get(what, what) in caught.value.what and "bad.wav" in caught.value.what
    assert caught.value.data == "No reading was made."
    assert caught.value.next_step


def test_a_class_that_is_none_is_refused() -> None:
    assert [parse_class(word) for word in ("40", "68", "auto")] == [40, 68, None]
    for word in ("41", "", "AUTO", "48.0"):
        with pytest.raises(InputError):
            parse_class(word)


def command(*words: str) -> subprocess.CompletedProcess[str]:
    program = [sys.executable, "-c", "from curbtick.commands.main import main; main()", "replay"]
    return subprocess.run(
        [*program, *words], capture_output=True, text=True, check=False, timeout=120, env=ENVIRONMENT
    )


def test_the_command_prints_one_object_and_nothing_else(tmp_path: Path) -> None:
    path = riff(tmp_path / "a.wav", train(250_000), 250_000)
    done = command(str(path), "--class", "48", "--gain-db", "-3", "--seed", "7", "--json")
    assert done.returncode == 0
    found = json.loads(done.stdout)
    check_schema(found)
    assert found["verdict"] == "pass" and "PASS" in done.stderr


def test_the_command_explains_a_bad_file_without_a_traceback(tmp_path: Path) -> None:
    done = command(str(riff(tmp_path / "a.wav", train(250_000), 250_000, channels=2)))
    assert done.returncode == 2 and done.stdout == ""
    assert "2 channels" in done.stderr and "Traceback" not in done.stderr
