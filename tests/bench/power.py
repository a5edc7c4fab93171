"""The energy budget by state, three supplies, and the budget's day held against the firmware's own.

`python -m tests.bench.power --json`: the real firmware takes readings on the virtual board; how long it
listens, what it lights and beeps is counted and compared with what the budget supposes. `--write` takes the count over
into the budget and writes the page on power.
"""

import json
import tempfile
from pathlib import Path
from typing import Any

from tests.bench import _common

from curbtick.yard.ear import faults  # isort: skip
from curbtick.yard.scenes import scenes  # isort: skip
from curbtick.virtual.probe.bus import BarChange  # isort: skip
from curbtick.yard.ear.ear import Ear  # isort: skip
from curbtick.virtual.probe.process import VirtualProbe  # isort: skip
from curbtick.virtual.demo.technician import Technician  # isort: skip
from curbtick_wire import settings  # isort: skip

from hardware_notes.power import budget, page  # isort: skip

SAMPLE_S = 4e-6
# One sensor in ten is faulty, as a fleet has it at first; the kinds take turns.
FAULTY_EVERY = 10
FAULTS = (faults.weak(15.0), faults.DEAD, faults.weak(18.0))


def _ears(count: int, seed: int) -> list[Ear]:
    made = []
    for number in range(count):
        fault = FAULTS[number // FAULTY_EVERY % len(FAULTS)] if number % FAULTY_EVERY == 4 else faults.HEALTHY
        made.append(scenes.single(seed=seed + number, fault=fault))
    return made


def lit_led_s(changes: list[BarChange], end_us: int) -> float:
    """LEDs times seconds beyond the one that shows the place."""
    ends = [change.time_us for change in changes[1:]] + [end_us]
    return sum(
        max(0, change.mask.bit_count() - 1) * (end_us - change.time_us) * 1e-6
        for change, end_us in zip(changes, ends, strict=True)
    )


def measured(count: int, seed: int) -> budget.Duty:
    """What the firmware does per reading, in a round of count readings."""
    with (
        tempfile.TemporaryDirectory() as folder,
        VirtualProbe(Ear(seed=seed), Path(folder) / "flash") as probe,
    ):
        probe.run_until_idle()
        samples, bars, beeps, start_us = (
            probe.bus.samples_read,
            len(probe.panel.bars),
            len(probe.panel.beeps),
            probe.now_us,
        )
        technician = Technician(probe)
        for ear in _ears(count, seed):
            technician.read(ear, tries=0)
        shown = [BarChange(start_us, 1), *probe.panel.bars[bars:]]
        return budget.Duty(
            hours=(probe.now_us - start_us) / 3.6e9,
            readings=count,
            listened_s=(probe.bus.samples_read - samples) * SAMPLE_S / count,
            lit_led_s=lit_led_s(shown, probe.now_us) / count,
            beeped_s=sum(beep.duration_ms for beep in probe.panel.beeps[beeps:]) / 1e3 / count,
        )


def _least(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f">= {bound}", value >= bound)


def _most(name: str, value: float, bound: float) -> dict[str, Any]:
    return _common.figure(name, float(f"{value:.4g}"), f"<= {bound}", value <= bound)


def supply_figures() -> list[dict[str, Any]]:
    """Run time and charge of each supply, and the limits each must keep."""
    day = budget.WORKING_DAY
    cells, lithium, capacitor = budget.supplies()
    limit_v = settings.FACTORY_SET["battery_min_mv"] / 1000.0
    probe_a = budget.power_w(max(budget.states_a().values())) / 5.0
    figures = [
        _least("nimh_hours", cells.hours(day), 2 * day.hours),
        _least("nimh_readings", cells.readings(day), 600),
        _least("lithium_hours", lithium.hours(day), 2 * day.hours),
        _least("capacitor_minutes", capacitor.hours(day) * 60.0, 30.0),
        _most("nimh_charge_hours", cells.charge_h, 6.0),
        _most("lithium_charge_hours", lithium.charge_h, 8.0),
        _most("capacitor_charge_minutes", capacitor.charge_h * 60.0, 10.0),
        _most("usb_port_a", budget.CHARGE_A + probe_a, budget.USB_PORT_A),
        _least("dimmest_led_of_the_parts_list_ma", 1e3 * min(map(budget.led_a, ("red", "amber"))), 1.5),
        _most("most_rail_current_a", max(budget.states_a().values()), budget.SUPPLY_MAX_A),
        _most("fullest_supply_v", max(s.full_v for s in budget.supplies()), budget.SUPPLY_MAX_V),
    ]
    same = max(abs(supply.limit_v - limit_v) for supply in budget.supplies())
    return [*figures, _most("limit_off_the_firmware_s_v", same, 0.001)]


def duty_figures(found: budget.Duty) -> list[dict[str, Any]]:
    """The budget's day against the simulated one: the energy of a reading, and each part of it."""
    day = budget.WORKING_DAY
    as_found = budget.Duty(day.hours, day.readings, found.listened_s, found.lit_led_s, found.beeped_s)
    gap = abs(budget.day_wh(as_found) / budget.day_wh(day) - 1.0)
    return [
        _most("day_energy_gap_share", gap, 0.1),
        _most("listened_s_per_reading", found.listened_s, 1.5 * day.listened_s),
        _most("lit_led_s_per_reading", found.lit_led_s, 1.5 * day.lit_led_s),
        _most("beeped_s_per_reading", found.beeped_s, 1.5 * day.beeped_s),
    ]


def write(found: budget.Duty, seed: int) -> None:
    """Take a measured day over into the budget and write the page made from it."""
    kept = {"seed": seed, "readings": found.readings}
    kept |= {name: round(getattr(found, name), 4) for name in ("listened_s", "lit_led_s", "beeped_s")}
    budget.MEASURED.write_text(json.dumps(kept) + "\n")
    budget.WORKING_DAY = budget.measured()
    page.PAGE.write_text(page.page())


def main() -> None:
    asked = _common.arguments(
        __doc__ or "", ("--write", {"action": "store_true", "help": "take the count over and write power.md"})
    )
    found = measured(12 if asked.short else 60, asked.seed)
    if asked.write:
        write(found, asked.seed)
    figures = [*supply_figures(), *duty_figures(found)]
    states = {name: round(current * 1e3, 2) for name, current in budget.states_a().items()}
    if not asked.json:
        for name, current_ma in states.items():
            print(f"{name:20} {current_ma:6.2f} mA at 3.3 V")
        for entry in figures:
            print(f"{entry['name']:32} {entry['value']:10} {entry['bound']:>12}")
    _common.report(figures, asked, states_ma=states, found=vars(found))


if __name__ == "__main__":
    main()
