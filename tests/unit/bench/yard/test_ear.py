"""What the ear delivers, measured with scipy alone: filters, envelopes and spectra that share no code with the yard."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from curbtick.yard.ear.ear import Ear
from curbtick.yard.ear.faults import loose_contact
from curbtick.yard.ear.probe_state import PROBE_FAULTS, ProbeState
from curbtick.yard.front_end.inputs import REST_CODE, Adc
from curbtick.yard.scenes import scenes
from curbtick.yard.sounds.noise import SLOPES, Broadband, Spur
from curbtick.yard.sounds.sensors import Sensor
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW, INPUT_PADDED
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, hilbert, sosfiltfilt, welch

from hardware_notes.frontend import levels

RATE_HZ = 250_000
BAND = butter(6, (28_000.0, 82_000.0), "bandpass", fs=RATE_HZ, output="sos")
SILENT_ADC = Adc(enob_bits=0.0, wide_codes=False)


def envelope(samples: npt.NDArray[np.uint16]) -> npt.NDArray[np.float64]:
    """Analytic envelope over 30-80 kHz by a Butterworth band and scipy's Hilbert transform, in codes."""
    out: npt.NDArray[np.float64] = np.abs(hilbert(sosfiltfilt(BAND, samples.astype(float) - 2048.0)))
    return out


def peak_dbfs(samples: npt.NDArray[np.uint16]) -> float:
    """Level of the strongest moment."""
    return float(20.0 * np.log10(envelope(samples).max() / 2047.5))


def band_rms_dbfs(samples: npt.NDArray[np.uint16]) -> float:
    """rms over 30-80 kHz by Welch's method, in dBFS."""
    frequency_hz, density = welch(samples.astype(float) - 2048.0, RATE_HZ, nperseg=2048)
    inside = (frequency_hz >= 30e3) & (frequency_hz <= 80e3)
    power = density[inside].sum() * frequency_hz[1]
    return float(10.0 * np.log10(power * 2.0 / 2047.5**2))


def read_ms(
    ear: Ear, length_ms: float, input_: int = INPUT_LOW, start_us: float = 0.0
) -> npt.NDArray[np.uint16]:
    """Samples over a time."""
    return ear.read(int(length_ms * 250), input_, start_us)


@pytest.mark.parametrize("class_khz", CLASSES_KHZ)
@pytest.mark.parametrize("level_dbfs", [-3.0, -8.0, -30.0])
def test_level_is_what_was_asked_for(class_khz: int, level_dbfs: float) -> None:
    ear = scenes.single(class_khz, level_dbfs, siblings=0, adc=SILENT_ADC)
    assert peak_dbfs(read_ms(ear, 250.0)) == pytest.approx(level_dbfs, abs=0.15)


def test_padded_input_is_12_db_down() -> None:
    ear = scenes.single(48, -8.0, siblings=0, adc=SILENT_ADC)
    assert peak_dbfs(read_ms(ear, 250.0, INPUT_PADDED)) == pytest.approx(-20.0, abs=0.15)


def test_high_input_is_40_db_up() -> None:
    ear = scenes.single(48, -55.0, siblings=0)
    assert peak_dbfs(read_ms(ear, 250.0, INPUT_HIGH)) == pytest.approx(-15.0, abs=1.5)


# hardware_notes: 30 mV of swing, and 3.1788 V less 30 mV, over a reference of 3.2381 V.
LOWEST_CODE, HIGHEST_CODE = 38, 3983


def test_too_loud_is_clipped_where_the_amplifiers_stop() -> None:
    samples = read_ms(scenes.single(48, 6.0, adc=SILENT_ADC), 250.0)
    assert samples.min() == pytest.approx(LOWEST_CODE, abs=1)
    assert samples.max() == pytest.approx(HIGHEST_CODE, abs=1)


def test_a_quiet_input_rests_where_the_bias_lies() -> None:
    """10.0 over 10.5 kohm: 2098 of 4096 codes."""
    assert np.mean(read_ms(Ear(), 250.0)) == pytest.approx(4096 * 10.5 / 20.5, abs=1)


def test_bursts_come_when_the_truth_says() -> None:
    scene = scenes.single_scene(48, -8.0, interval_ms=137.0, siblings=0, fault=loose_contact())
    held = scene.truth.held
    assert held is not None
    strong = np.flatnonzero(envelope(read_ms(scene.ear, 1_500.0)) > 2047.5 * 10.0 ** (-14.0 / 20.0))
    starts_ms = strong[np.flatnonzero(np.diff(strong, prepend=-10_000) > 2_500)] / 250.0
    sent_ms = [tick / 4_000 for tick in held.source.sent(0, 1_500 * 4_000)]
    assert len(starts_ms) == len(sent_ms)
    assert np.abs(starts_ms - sent_ms).max() < 0.4


def test_frequency_is_the_sensors() -> None:
    ear = scenes.single(siblings=0, sensor=Sensor(48, 46_300.0), phase_ms=10.0)
    window = read_ms(ear, 2.0, start_us=10_000.0) - REST_CODE
    spectrum = np.abs(np.fft.rfft(window * np.hanning(len(window)), 1 << 16))
    assert np.argmax(spectrum) * RATE_HZ / (1 << 16) == pytest.approx(46_300.0, abs=100.0)


@pytest.mark.parametrize("count", [1, 100, 1024, 8192, 8193, 20_000])
def test_time_goes_on_whatever_the_blocks(count: int) -> None:
    """Without electronic noise two ears of one scene agree sample for sample, read in blocks or at once."""
    whole = read_ms(scenes.single(adc=SILENT_ADC, noise_dbfs=-50.0), 240.0)
    ear = scenes.single(adc=SILENT_ADC, noise_dbfs=-50.0)
    blocks = [ear.read(count, INPUT_LOW, first * 4) for first in range(0, min(60_000, 50 * count), count)]
    joined = np.concatenate(blocks)[: len(whole)]
    assert np.array_equal(joined, whole[: len(joined)])


@settings(max_examples=25, deadline=None)
@given(start_us=st.integers(0, 3_600_000_000), count=st.integers(1, 5_000), input_=st.sampled_from([0, 1, 2]))
def test_any_moment_can_be_read(start_us: int, count: int, input_: int) -> None:
    samples = scenes.single(noise_dbfs=-45.0).read(count, input_, start_us)
    assert samples.dtype == np.uint16 and len(samples) == count
    assert samples.max() <= 4095


def test_a_moment_sounds_the_same_when_read_again() -> None:
    ear = scenes.single(adc=SILENT_ADC, noise_dbfs=-45.0)
    first = ear.read(3_000, INPUT_LOW, 5_000_000)
    ear.read(9_999, INPUT_LOW, 0)
    assert np.array_equal(ear.read(3_000, INPUT_LOW, 5_000_000), first)


def test_electronic_noise_is_drawn_anew() -> None:
    ear = scenes.single()
    assert not np.array_equal(ear.read(3_000, INPUT_LOW, 0), ear.read(3_000, INPUT_LOW, 0))


@pytest.mark.parametrize("kind", SLOPES)
def test_a_noises_level_is_its_rms_over_the_band(kind: str) -> None:
    ear = Ear(layers=(Broadband(kind, -40.0, 1234),))
    assert band_rms_dbfs(read_ms(ear, 1_500.0)) == pytest.approx(-40.0, abs=0.4)
    assert ear.noise_dbfs(0.0, 1e6) == pytest.approx(-40.0, abs=0.2)


def test_a_quiet_low_inputs_floor_is_the_converters() -> None:
    """12 bits with 8.7 effective: -54.1 dBFS over 125 kHz is -58.1 over 50 kHz."""
    ear = Ear()
    assert band_rms_dbfs(read_ms(ear, 1_000.0)) == pytest.approx(-58.1, abs=0.3)
    assert ear.noise_dbfs(0.0, 1e6) == pytest.approx(-58.0, abs=0.15)


def test_a_spur_is_a_line_at_its_level() -> None:
    samples = read_ms(Ear(layers=(Spur(47_000, -40.0),)), 1_000.0) - REST_CODE
    spectrum = np.abs(np.fft.rfft(samples)) * 2.0 / len(samples)
    assert np.argmax(spectrum) == 47_000
    assert 20.0 * np.log10(spectrum.max() / 2047.5) == pytest.approx(-40.0, abs=0.3)


def test_a_live_microphones_floor_is_the_front_ends_on_the_high_input() -> None:
    floor_dbfs = levels.floor_dbfs("RP2040")
    assert band_rms_dbfs(read_ms(Ear(), 1_000.0, INPUT_HIGH)) == pytest.approx(floor_dbfs, abs=0.5)


def test_an_unplugged_microphones_floor_is_the_front_ends_on_the_high_input() -> None:
    ear = replace_probe("unplugged")
    floor_dbfs = levels.floor_dbfs("RP2040", microphone=False)
    assert band_rms_dbfs(read_ms(ear, 1_000.0, INPUT_HIGH)) == pytest.approx(floor_dbfs, abs=0.5)
    assert peak_dbfs(read_ms(ear, 500.0)) < -40.0


def replace_probe(fault: str) -> Ear:
    """A healthy sensor under a probe with a fault."""
    return scenes.single(probe=ProbeState(fault))


@pytest.mark.parametrize(("fault", "code"), [("stuck_low", 0), ("stuck_high", 4095), ("dead_code", 2048)])
def test_a_stuck_converter_gives_one_code(fault: str, code: int) -> None:
    assert set(read_ms(replace_probe(fault), 250.0)) == {code}


def test_an_amplifier_that_ran_away_clips_on_every_input() -> None:
    for input_ in (INPUT_LOW, INPUT_PADDED, INPUT_HIGH):
        samples = read_ms(replace_probe("clipped"), 250.0, input_)
        assert samples.min() < LOWEST_CODE and samples.max() > HIGHEST_CODE, "and the converter's own noise"


def test_only_a_low_battery_leaves_the_sound_alone() -> None:
    assert set(PROBE_FAULTS) == {
        "none",
        "unplugged",
        "stuck_low",
        "stuck_high",
        "dead_code",
        "clipped",
        "battery_low",
    }
    assert peak_dbfs(read_ms(replace_probe("battery_low"), 250.0)) == pytest.approx(-8.0, abs=0.3)


def test_wide_codes_swallow_their_neighbours() -> None:
    ramp = np.arange(0.0, 4095.0, 0.25, dtype=np.float32) - np.float32(REST_CODE)
    codes = Adc(enob_bits=0.0).convert(ramp.copy())
    counts = np.bincount(codes, minlength=4096) / 4.0
    assert {int(code) for code in np.flatnonzero(counts > 5.0)} == {512, 1536, 2560, 3584}
    assert np.diff(codes.astype(int)).min() >= 0
    assert counts[1:4095].min() > 0


def test_a_moved_probe_hears_less_from_then_on() -> None:
    from curbtick.yard.sounds.sources import Fade

    recipe = scenes.single_scene(siblings=0, phase_ms=0.0, adc=SILENT_ADC).recipe
    scene = scenes.build(replace(recipe, fade=Fade(2_000_000, 0.1, 4_000)), 1)
    levels = [peak_dbfs(read_ms(scene.ear, 150.0, start_us=start_us)) for start_us in (150_000.0, 550_000.0)]
    assert levels[0] == pytest.approx(-8.0, abs=0.2)
    assert levels[1] == pytest.approx(-28.0, abs=0.4)
