"""Supplies, reference and bias: the formulas by hand and against ngspice; drawn front ends; figures' ranges."""

import numpy as np
import pytest
from curbtick.hardware import converter, frontend, rails
from curbtick.hardware.components import figure
from curbtick.hardware.microphones import MICROPHONES, SECOND
from curbtick.hardware.values import OUTPUTS, SUPPLY, nominal
from curbtick_probe.app import selftest
from curbtick_probe.dsp import extent

from hardware_notes.frontend import netlist, spice
from tests import programs


@pytest.fixture
def ngspice() -> None:
    """ngspice itself; what needs no simulation is checked without it."""
    programs.needed(programs.NGSPICE)


def test_the_reference_is_ohm_s_law_by_hand() -> None:
    """3.3 V less 201 ohm at 0.15 mA is 3.26985 V; 20.5 kohm behind 201 ohm leave 3.2381 V; 10.5 of 20.5 is 1.6585 V."""
    given = rails.rails()
    assert given.reference_v == pytest.approx(3.26985 / (1.0 + 201.0 / 20_500.0))
    assert given.bias_v == pytest.approx(1.65854, abs=1e-5)
    assert given.bias_code == pytest.approx(4096 * 10.5 / 20.5)


def test_the_amplifiers_stop_before_the_converter_s_last_code() -> None:
    """3.3 V less 10 ohm at 12.12 mA is 3.1788 V; less 30 mV, over 3.2381 V, is code 3983: clipping never shows 4095."""
    low, high = rails.rails().swing_codes
    assert (low, high) == (pytest.approx(37.9, abs=0.1), pytest.approx(3983.0, abs=0.5))


def test_no_drawn_amplifier_stops_beyond_the_range() -> None:
    """By hand: 80 mV of 3.12 V is code 105, and 10 of the converter's offset make 115."""
    low, high = rails.stop_range_codes()
    assert low[1] == pytest.approx(115, abs=1)
    generator = np.random.default_rng(3)
    for _ in range(300):
        drawn = frontend.drawn(generator)
        lowest, highest = (code + drawn.offset_codes for code in drawn.rails.swing_codes)
        assert low[0] <= lowest <= low[1] and high[0] <= highest <= high[1]


def test_the_firmware_trusts_no_code_at_which_an_amplifier_may_stop() -> None:
    """Its own constants, with the converter's noise to spare: four sigma of 2.9 codes at 8.7 effective bits."""
    low, high = rails.stop_range_codes()
    assert low[1] + 12 < extent.STOP_LOW and high[0] - 12 > extent.STOP_HIGH
    rests = [code for output in OUTPUTS for code in rails.bias_range_codes(output)]
    whole = min(extent.STOP_HIGH - max(rests), min(rests) - extent.STOP_LOW)
    assert 20 * np.log10(whole / 2047.5) > -2.0, "a healthy sensor of -2 dBFS needs no pad"


def test_the_self_test_expects_the_bias_of_the_table() -> None:
    """Every drawn front end passes with twice its tolerance to spare."""
    assert abs(selftest.BIAS_CODE - rails.rails().bias_code) < 1
    rests = [code for output in OUTPUTS for code in rails.bias_range_codes(output)]
    assert max(abs(code - selftest.BIAS_CODE) for code in rests) < selftest.BIAS_SLACK_CODES / 3


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize("microphone", MICROPHONES, ids=lambda one: one.name)
def test_ngspice_finds_the_same_rails(microphone: frontend.Microphone) -> None:
    given = rails.rails()
    names = ("v(adc_vref)", "v(avdd)", "v(bias)", *(f"v({output})" for output in OUTPUTS))
    found = spice.operating_point(names, nominal(microphone))
    expected = (given.reference_v, given.amplifier_v, *[given.bias_v] * 4)
    assert list(found.values()) == pytest.approx(expected, abs=2e-4)


@pytest.mark.usefixtures("ngspice")
def test_a_bias_that_is_ground_shows() -> None:
    """The defect that the table once had: with BIAS and AGND one net, no output rests at the bias."""
    wrong = tuple(
        netlist.Instance(
            p.ref, p.kind, p.value, tuple((n, "AGND" if net == "BIAS" else net) for n, net in p.nets), ""
        )
        for p in netlist.nets.INSTANCES
    )
    found = spice.operating_point([f"v({output})" for output in OUTPUTS], nominal(), instances=wrong)
    assert max(found.values()) < 0.1


@pytest.mark.parametrize("chip", ["RP2040", "RP2350"])
def test_the_bias_stays_clear_of_every_known_step(chip: str) -> None:
    assert rails.clear_of_steps_codes(chip) > 15.0


def test_an_even_divider_would_sit_on_a_step(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(SUPPLY, "Rv2", SUPPLY["Rv1"])
    assert rails.clear_of_steps_codes("RP2040") == 0.0


def test_drawn_front_ends_stay_within_the_ranges_of_the_table() -> None:
    generator = np.random.default_rng(3)
    probes = [frontend.drawn(generator, SECOND) for _ in range(50)]
    for output in OUTPUTS:
        low, high = rails.bias_range_codes(output)
        assert all(low <= probe.rest_code(output) <= high for probe in probes)
    assert len({probe.rails.reference_v for probe in probes}) == 50
    assert all(-39.0 <= probe.sensitivity_db <= -37.0 for probe in probes)


def test_level_at_an_input_by_hand() -> None:
    """94 dB SPL gives -38 dBV, 17.8 mV peak; times the low gain, over a full scale of 2047.5/4096 of the reference."""
    given = frontend.of()
    peak_v = 10.0 ** (-38.0 / 20.0) * 2.0**0.5 * 10.0 ** (given.gain_db("low", 48e3) / 20.0)
    expected = 20.0 * np.log10(peak_v / (3.2381 * 2047.5 / 4096.0))
    assert given.dbfs(94.0, "low", 48e3) == pytest.approx(expected, abs=0.01)


def test_a_sine_clips_where_its_nearer_peak_meets_the_swing() -> None:
    given = frontend.of()
    assert given.clip_dbfs("low") == pytest.approx(20.0 * np.log10((3983.04 - 2097.95) / 2047.5), abs=0.01)
    assert given.clip_codes()[1] < converter.CODES - 100


def test_both_microphones_see_the_same_step_from_input_to_input() -> None:
    for microphone in MICROPHONES:
        given = frontend.of(microphone)
        assert given.step_db("padded") == pytest.approx(-12.0, abs=0.5)
        assert given.step_db("high") == pytest.approx(40.0, abs=0.5)


def test_a_figure_outside_its_own_range_is_refused() -> None:
    with pytest.raises(ValueError, match="does not lie between"):
        figure(5.0, 1.0, 4.0, "invented")


def test_the_converter_s_noise_by_hand() -> None:
    """8.7 bits are 54.1 dB below a sine of 1447.8 codes rms: 2.84 codes; the measured 0.97 and 1.36 lie below."""
    assert converter.noise_codes("RP2040") == pytest.approx(2.84, abs=0.02)
    assert (
        converter.POWER_SAVE_NOISE_CODES < converter.LOW_RIPPLE_NOISE_CODES < converter.noise_codes("RP2350")
    )
