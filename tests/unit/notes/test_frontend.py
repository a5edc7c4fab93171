"""The front end's calculations: formulas against ngspice, and what the notes show against a fresh run."""

import subprocess
import sys

import numpy as np
import pytest
from curbtick.hardware import microphones, noise, response
from curbtick.hardware.values import OUTPUTS, SIGNAL, nominal
from curbtick.yard.front_end import inputs as virtual
from curbtick_wire import settings
from curbtick_wire.names import INPUT_HIGH, INPUT_PADDED

from hardware_notes.collar import aim, felt
from hardware_notes.frontend import levels, netlist, spice, tolerance
from tests import programs
from tests.bench import frontend
from tests.paths import ROOT


@pytest.fixture
def ngspice() -> None:
    """ngspice itself; without it the recorded response is still compared."""
    programs.needed(programs.NGSPICE)


def test_committed_netlist_is_what_the_values_give() -> None:
    assert netlist.NETLIST.read_text() == netlist.shown()


def test_formula_agrees_with_what_ngspice_gave() -> None:
    frequency_hz, simulated = spice.recorded()
    computed = response.responses(nominal(), frequency_hz)
    assert frequency_hz[0] == pytest.approx(5e3) and frequency_hz[-1] > 190e3
    for pin in OUTPUTS:
        assert np.abs(response.decibels(computed[pin]) - simulated[pin]).max() <= 0.2


@pytest.mark.usefixtures("ngspice")
@pytest.mark.parametrize("values", [nominal(), *tolerance.draw(2, seed=7)])
def test_formula_agrees_with_ngspice(values: dict[str, float]) -> None:
    assert frontend.response_gap_db(values) <= 0.2
    assert frontend.noise_gap_db(values) <= 0.2


@pytest.mark.usefixtures("ngspice")
def test_the_comparison_sees_a_wrong_part() -> None:
    """A feedback capacitor a tenth off in one of the two shows as more than the bound."""
    wrong = {**nominal(), "Cb2": SIGNAL["Cb2"].si * 1.1}
    frequency_hz, simulated = spice.responses(wrong, 5e3, 200e3)
    computed = response.responses(nominal(), frequency_hz)
    gap = np.abs(response.decibels(computed["low"]) - response.decibels(simulated["low"])).max()
    assert gap > 0.5


@pytest.mark.usefixtures("ngspice")
def test_bench_holds() -> None:
    command = [sys.executable, "-m", "tests.bench.frontend", "--json", "--short", "--seed", "1"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_unplugged_microphone_lowers_the_floor() -> None:
    assert levels.floor_dbfs("RP2040") - levels.floor_dbfs("RP2040", microphone=False) > 10.0


def test_healthy_sensors_of_48_khz_span_from_minus_19_dbfs_to_full_scale() -> None:
    """28.3 to 150 Vpp are 14.5 dB, the units' spread 3 dB: the middle lies near -10, about where the yard has them."""
    found = [levels.healthy_dbfs(48_000.0, share=share) for share in (0.0, 0.5, 1.0)]
    assert found == pytest.approx([-19.0, -10.25, -1.5], abs=0.5)


def test_collar_shades_neighbours_by_35_db_and_more() -> None:
    for hz in microphones.CLASSES_HZ:
        parts = aim.neighbour_db(hz)
        assert parts["total"] == pytest.approx(parts["spreading"] + parts["side_lobe"] + parts["rim"])
        assert parts["total"] > 35.0
        assert parts["wall"] > parts["total"]


def test_felt_refuses_frequencies_outside_its_formula() -> None:
    with pytest.raises(ValueError, match="0.01 to 1"):
        felt.attenuation_db(np.array([100_000.0]))


def test_noises_add_in_power() -> None:
    assert noise.add_dbfs(-50.0, -50.0) == pytest.approx(-46.99, abs=0.01)


def test_the_virtual_front_end_stands_for_this_circuit() -> None:
    """What the yard feeds the firmware: the steps between inputs and the two floors of the high one, within 0.5 dB."""
    given = levels.nominal()
    for pin, which in (("padded", INPUT_PADDED), ("high", INPUT_HIGH)):
        assert virtual.INPUTS[which].gain_db == pytest.approx(given.step_db(pin), abs=0.5)
    assert pytest.approx(given.front_floor_dbfs(), abs=0.5) == virtual.MICROPHONE_NOISE_DBFS
    assert pytest.approx(given.front_floor_dbfs(live=False), abs=0.5) == virtual.AMPLIFIER_NOISE_DBFS


def test_the_factory_floor_limit_parts_a_live_front_end_from_an_open_one() -> None:
    limit = settings.FACTORY_SET["high_floor_min_cdb"] / 100.0
    assert levels.floor_dbfs("RP2040") > limit + 3.0
    assert levels.floor_dbfs("RP2040", microphone=False) < limit - 3.0
