"""The front end as built: noise, rails, steps; against data sheets and hardware_notes."""

from dataclasses import replace

import numpy as np
import pytest
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW, INPUT_PADDED

from tests.bench.otheryard.foreign.source import Steady
from tests.bench.otheryard.front import hum
from tests.bench.otheryard.front.converter import WIDE_CODES, Converter
from tests.bench.otheryard.front.microphone import DISCONNECTED
from tests.bench.otheryard.front.unit import REST_CODES, Unit, drawn
from tests.bench.otheryard.physics.strips import SIZES, SPECTRA, cut
from tests.bench.otheryard.scene import Stream
from tests.unit.otheryard.heard import SINE_RMS_CODES, band_rms_dbfs, codes

NOMINAL = Unit(slow_noise_codes=0.0, seed=5)


def tone_at(level_dbfs: float, hz: float = 48e3) -> Steady:
    """A steady tone at the low input."""
    return Steady(lambda at_s: np.sin(2 * np.pi * hz * at_s), level_dbfs)


def test_noise_of_8_7_effective_bits() -> None:
    """ENOB 8.7 is 54.1 dB (6.02 N + 1.76); over 30 to 80 kHz -58.1 dBFS (RP2040 data sheet 4.9, hardware_notes)."""
    assert 20 * np.log10(SINE_RMS_CODES / Converter(8.7).noise_codes()) == pytest.approx(54.1, abs=0.05)
    assert band_rms_dbfs(codes(Stream([], NOMINAL), 1.0)) == pytest.approx(-58.1, abs=0.15)


@pytest.mark.parametrize(
    ("unit", "floor_dbfs"), [(NOMINAL, -42.8), (replace(NOMINAL, microphone=DISCONNECTED), -53.5)]
)
def test_floor_of_the_high_input(unit: Unit, floor_dbfs: float) -> None:
    """hardware_notes/frontend.md: -42.8 dBFS live, -53.5 dBFS unplugged, the converter of 8.7 bits included."""
    assert band_rms_dbfs(codes(Stream([], unit), 1.0, INPUT_HIGH)) == pytest.approx(floor_dbfs, abs=0.3)


@pytest.mark.parametrize(
    ("input_", "level_dbfs"), [(INPUT_LOW, -10.0), (INPUT_PADDED, -22.03), (INPUT_HIGH, -10.05)]
)
def test_the_inputs_are_12_and_40_db_apart(input_: int, level_dbfs: float) -> None:
    source = tone_at(-50.0 if input_ == INPUT_HIGH else -10.0)
    read = codes(Stream([source], NOMINAL), 0.5, input_)
    assert band_rms_dbfs(read) == pytest.approx(level_dbfs, abs=0.05)


def test_amplifiers_stop_before_the_rails() -> None:
    """Nominal: 30 mV from ground and from 3.1788 V, over 3.2381 V, are codes 38 and 3983 (hardware_notes)."""
    read = codes(Stream([tone_at(3.0)], replace(NOMINAL, converter=Converter(14.0))), 0.1)
    assert read.min() == pytest.approx(38, abs=2) and read.max() == pytest.approx(3983, abs=2)
    assert np.mean(read >= read.max() - 3) > 0.15, "a clipped sine has flat tops"


def test_each_copy_rests_and_stops_elsewhere() -> None:
    units = [drawn(np.random.default_rng(n)) for n in range(60)]
    rests = [unit.rest_codes[INPUT_LOW] for unit in units]
    assert min(rests) > 2070 and max(rests) < 2125 and np.ptp(rests) > 20
    tops = [unit.stops[1] for unit in units]
    assert min(tops) < 3910 and max(tops) > 4000 and REST_CODES[INPUT_LOW] == pytest.approx(2098, abs=1)


def test_the_padded_input_does_not_clip_then() -> None:
    read = codes(Stream([tone_at(3.0)], NOMINAL), 0.1, INPUT_PADDED)
    assert np.ptp(read) / 4095 == pytest.approx(10 ** ((3.0 - 12.03) / 20), abs=0.02)


def test_tolerances_lie_where_the_notes_say() -> None:
    """95 of 100 copies within 0.43 dB at the high input, 0.10 dB at the padded one."""
    steps_db = np.array([list(drawn(np.random.default_rng(n)).step_db.values()) for n in range(600)])
    assert np.mean(np.abs(steps_db[:, 1] + 12.03) < 0.10) == pytest.approx(0.95, abs=0.03)
    assert np.mean(np.abs(steps_db[:, 2] - 39.95) < 0.43) == pytest.approx(0.95, abs=0.03)


def test_wide_and_missing_codes() -> None:
    """A slow ramp finds each code as often as it is wide; 2047 is missing (pico-feedback issue 91)."""
    ramp = np.linspace(-0.5, 4095.5, 4096 * 64, dtype=np.float32)
    counts = np.bincount(Converter(8.7, 8.0, missing=True).convert(ramp), minlength=4096) / 64
    assert counts[2047] == 0
    assert counts[list(WIDE_CODES)] == pytest.approx(8.0, abs=0.3)
    others = np.delete(counts, [*WIDE_CODES, 2046, 2047, 2048, 0, 4095])
    assert others.min() > 0.7 and others.max() < 1.3
    assert np.bincount(Converter().convert(ramp), minlength=4096)[2047] == pytest.approx(64, abs=1)


def test_hum_is_hum() -> None:
    unit = replace(NOMINAL, lines=tuple(hum.mains(np.random.default_rng(1), 200.0)))
    read = codes(Stream([], unit), 1.0).astype(float)
    spectrum = np.abs(np.fft.rfft(read - read.mean())) * 2 / len(read)
    hz = np.fft.rfftfreq(len(read), 4e-6)
    assert hz[spectrum.argmax()] in (pytest.approx(50, abs=1.5), pytest.approx(60, abs=1.5))
    assert band_rms_dbfs(read) == pytest.approx(-58.1, abs=0.3), "nothing of it reaches the band"


def test_the_microphone_is_true_up_to_full_scale() -> None:
    """And 6 dB above it holds back: hardware_notes say 10 % distortion 3 dB over full scale of the low input."""
    padded = [
        band_rms_dbfs(codes(Stream([tone_at(dbfs)], NOMINAL), 0.1, INPUT_PADDED)) for dbfs in (-20, 0, 12)
    ]
    assert padded[1] - padded[0] == pytest.approx(20, abs=0.1)
    assert padded[2] - padded[1] < 9


@pytest.mark.parametrize("spectrum", SPECTRA)
def test_strips_have_no_seam_and_the_level_they_say(spectrum: str) -> None:
    """In pieces they are what they are in one, across the ends of both copies; loud rumble would click otherwise."""
    first = 3 * SIZES[1] - 20_000
    whole = cut(spectrum, first, 60_000)
    pieces = [cut(spectrum, first + 6000 * n, 6000) for n in range(10)]
    assert np.array_equal(np.concatenate(pieces), whole)
    steps = np.abs(np.diff(whole))
    assert steps.max() < 7 * np.std(np.diff(whole))
    assert band_rms_dbfs(cut(spectrum, 5, 400_000) * 2047.5) == pytest.approx(0.0, abs=0.1)


def test_slow_noise_has_no_steps() -> None:
    unit = replace(NOMINAL, slow_noise_codes=6.0, converter=Converter(16.0), microphone=DISCONNECTED)
    assert band_rms_dbfs(codes(Stream([], unit), 1.0)) < -66, (
        "nothing of it reaches the band, beside rounding"
    )
