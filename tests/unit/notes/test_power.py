"""The energy budget: its arithmetic, and the bench that holds it against the firmware's own day."""

import subprocess
import sys

import pytest
from curbtick.virtual.probe.bus import BarChange
from curbtick_wire import settings

from hardware_notes.power import budget, page
from tests.bench import power
from tests.paths import ROOT


def test_a_day_s_energy_adds_up_by_hand() -> None:
    """An idle day is its hours times the idle power; readings add what they draw beyond it."""
    idle = budget.Duty(8.0, 0, 0.6, 34.0, 0.15)
    assert budget.day_wh(idle) == pytest.approx(8.0 * budget.idle_a() * 3.3 / 0.78)
    lit = budget.Duty(8.0, 3600, 0.0, 1.0, 0.0)
    assert budget.day_wh(lit) - budget.day_wh(idle) == pytest.approx(budget.LED_A * 3.3 / 0.78)


def test_capacitor_energy_is_the_textbook_s() -> None:
    """C (V1^2 - V2^2) / 2: 50 F from 5.0 to 3.3 V gives 352.75 J; 5 V at 0.45 A takes 555.6 s."""
    found = budget.capacitor()
    assert found.usable_wh * 3600.0 == pytest.approx(352.75)
    assert found.charge_h * 3600.0 == pytest.approx(555.6, abs=0.1)


def test_the_page_on_power_is_what_the_budget_gives() -> None:
    assert page.PAGE.read_text() == page.page(), "run python -m tests.bench.power --write"


def test_led_current_by_colour_by_hand() -> None:
    """3.3 V less 0.1 V at the pin and 1.9 V across a red LED, through 560 ohm, is 2.32 mA; a blue one gets 0.45 mA."""
    assert budget.led_a("red") == pytest.approx(1.3 / 560.0)
    assert budget.led_a("blue") < 0.25 * budget.led_a("red")


def test_what_charges_by_usb_leaves_the_probe_its_share() -> None:
    assert budget.CHARGE_A + budget.power_w(max(budget.states_a().values())) / 5.0 < budget.USB_PORT_A


def test_every_supply_ends_at_the_firmware_s_limit() -> None:
    """The factory set's battery_min_mv is the voltage at which the probe stops giving verdicts."""
    limit_mv = settings.FACTORY_SET["battery_min_mv"]
    assert {round(supply.limit_v * 1000) for supply in budget.supplies()} == {limit_mv}


def test_led_seconds_count_what_is_lit_beyond_the_place() -> None:
    changes = [BarChange(0, 1), BarChange(1_000_000, 0xFFF), BarChange(3_000_000, 0), BarChange(4_000_000, 3)]
    assert power.lit_led_s(changes, 6_000_000) == pytest.approx(11 * 2.0 + 1 * 2.0)


def test_bench_holds() -> None:
    command = [sys.executable, "-m", "tests.bench.power", "--json", "--short", "--seed", "1"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
