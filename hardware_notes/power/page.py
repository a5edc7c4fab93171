"""The page on power, from the budget and the measured day: `python -m tests.bench.power --write` writes it."""

from pathlib import Path

from curbtick.hardware.values import PANEL

from hardware_notes.power import budget
from hardware_notes.power.budget import Supply

TEXT = Path(__file__).with_name("page.txt")
PAGE = Path(__file__).resolve().parents[1] / "power.md"
_REMARKS = {
    "nimh": "replaced in the yard in a minute; charged outside, no charger in the probe",
    "lithium": "needs protection, charger and care in shipping",
    "capacitor": "never wears out; a round at a time",
}


def _time(hours: float) -> str:
    return f"{hours:.1f} h" if hours >= 1.5 else f"{hours * 60.0:.0f} min"


def _supply(one: Supply) -> str:
    day = budget.WORKING_DAY
    where = "outside the probe" if one.name == "nimh" else "by USB"
    return (
        f"| {one.what} | {one.usable_wh:.2f} Wh | {_time(one.hours(day))} | {one.readings(day):.0f} | "
        f"{_time(one.charge_h)} {where} | {one.full_v:.2f} to {one.limit_v:.2f} V | {_REMARKS[one.name]} |"
    )


def _leds() -> str:
    return "\n".join(
        f"| {colour} | {volts:g} V | {1e3 * budget.led_a(colour):.1f} mA |"
        for colour, volts in budget.LED_FORWARD_V.items()
    )


def page() -> str:
    """The whole page: page.txt with the figures in their places."""
    day, cells = budget.WORKING_DAY, budget.supplies()[0]
    return TEXT.read_text().format(
        states="\n".join(
            f"| {name} | {1e3 * amperes:.1f} mA |" for name, amperes in budget.states_a().items()
        ),
        listened=f"{day.listened_s:.2f}",
        lit=f"{day.lit_led_s:.0f}",
        beeped=f"{day.beeped_s:.2f}",
        readings=day.readings,
        supplies="\n".join(map(_supply, budget.supplies())),
        full=f"{cells.full_v:.2f}",
        charge=f"{budget.CHARGE_A:g}",
        port=f"{budget.USB_PORT_A:g}",
        series=PANEL["Rl"].shown,
        leds=_leds(),
        share=f"{100.0 * budget.FRONT_END_A / budget.idle_a():.0f}",
        hours=f"{cells.hours(day):.0f}",
    )
