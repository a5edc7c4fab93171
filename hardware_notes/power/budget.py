"""What the probe draws in each state, and how long three supplies last and take to charge.

Currents are at the 3.3 V rail. Those of the controller board are from its data sheet's tables and from memory, so they
are to be measured on the first board built (build.md says how); the amplifiers' and LEDs' follow from the parts. How a
day goes is what the firmware itself did on the virtual board (measured.json, written by the bench).
"""

import json
from dataclasses import dataclass
from pathlib import Path

from curbtick.hardware import amplifier, microphones, rails
from curbtick.hardware.values import PANEL

RAIL_V = 3.3

# The chip at 125 MHz with flash and ADC at work, USB off; asleep between looks at the buttons (from memory).
RUN_A = 0.026
SLEEP_A = 0.002
# A look at the buttons each 10 ms of idling keeps the chip awake this share of the time, clocks' start
# included.
LOOK_SHARE = 0.08

# Forward voltage of an LED at about 2 mA by its colour, in V, and what the controller's pin loses (from memory).
LED_FORWARD_V = {"red": 1.9, "amber": 2.0, "yellow": 2.05, "yellow-green": 2.1, "green": 2.9, "blue": 2.95}
PIN_LOSS_V = 0.1
LED_COLOUR = "red"
BEEPER_A = 0.004
_DIVIDER_OHM = rails.nominal_values()["Rv1"] + rails.nominal_values()["Rv2"]
BIAS_A = rails.rails().reference_v / _DIVIDER_OHM
FRONT_END_A = (
    amplifier.COUNT * amplifier.SUPPLY_MA.nominal + microphones.FIRST.supply_ma.nominal
) * 1e-3 + BIAS_A


def led_a(colour: str = LED_COLOUR) -> float:
    """An LED's current by its colour: what the rail leaves over its forward voltage, through its resistor."""
    return max(0.0, RAIL_V - PIN_LOSS_V - LED_FORWARD_V[colour]) / PANEL["Rl"].si


LED_A = led_a()

# What a USB port gives a device that has asked for it (USB 2.0, section 7.2.1.3), and what a charger of ours leaves it
# for the probe itself.
USB_PORT_A = 0.5
CHARGE_A = 0.45

# The board's buck-boost converter held in its low-ripple mode, at tens of milliamperes (from memory).
EFFICIENCY = 0.78
SUPPLY_MIN_V, SUPPLY_MAX_V = 1.8, 5.5
SUPPLY_MAX_A = 0.3


@dataclass(frozen=True)
class Duty:
    """How a day goes. hours: switched on; readings: taken; per reading: listened_s, lit_led_s (LEDs times seconds)
    beyond the one LED that shows the place, and beeped_s.
    """

    hours: float
    readings: int
    listened_s: float
    lit_led_s: float
    beeped_s: float


MEASURED = Path(__file__).with_name("measured.json")


def measured() -> Duty:
    """A working day of 8 hours and 300 readings, each as the firmware's round was measured."""
    found = json.loads(MEASURED.read_text())
    return Duty(8.0, 300, found["listened_s"], found["lit_led_s"], found["beeped_s"])


WORKING_DAY = measured()


def idle_a() -> float:
    """Rail current between readings, the place's LED lit."""
    return LOOK_SHARE * RUN_A + (1.0 - LOOK_SHARE) * SLEEP_A + FRONT_END_A + LED_A


def states_a() -> dict[str, float]:
    """Rail current by state, in A."""
    return {
        "listening": RUN_A + FRONT_END_A + LED_A,
        "showing, all LEDs": idle_a() + 11 * LED_A,
        "beeping": RUN_A + FRONT_END_A + LED_A + BEEPER_A,
        "idle, one LED": idle_a(),
        "idle, dark": idle_a() - LED_A,
    }


def power_w(rail_a: float) -> float:
    """What the supply gives for a rail current."""
    return rail_a * RAIL_V / EFFICIENCY


def day_wh(duty: Duty) -> float:
    """Energy from the supply for a day."""
    idle_wh = duty.hours * power_w(idle_a())
    awake_s = duty.listened_s + duty.beeped_s
    reading_as = awake_s * (RUN_A - idle_a() + FRONT_END_A + LED_A)
    reading_as += duty.lit_led_s * LED_A + duty.beeped_s * BEEPER_A
    return idle_wh + duty.readings * power_w(reading_as) / 3600.0


@dataclass(frozen=True)
class Supply:
    """A way to power the probe: usable energy in Wh, charging time in hours, voltages when full and at the limit."""

    name: str
    usable_wh: float
    charge_h: float
    full_v: float
    limit_v: float
    what: str

    def hours(self, duty: Duty) -> float:
        """Hours of such a day that a charge lasts."""
        return self.usable_wh / day_wh(duty) * duty.hours

    def readings(self, duty: Duty) -> float:
        """Readings that a charge lasts, at a day's pace."""
        return self.usable_wh / day_wh(duty) * duty.readings


LIMIT_V = 3.3


def nimh(cells: int = 3, ah: float = 2.0, charge_a: float = 0.5) -> Supply:
    """Replaceable low-self-discharge NiMH cells of size AA, charged outside the probe.

    1.2 V in the mean; at 1.1 V a cell about a tenth is left; charging takes 1.2 times the capacity
    (handbook of batteries, from memory).
    """
    return Supply(
        "nimh", cells * 1.2 * ah * 0.9, 1.2 * ah / charge_a, cells * 1.45, cells * 1.1, "3 x AA, 2 Ah"
    )


def lithium(ah: float = 2.6, charge_a: float = CHARGE_A) -> Supply:
    """One lithium-ion cell with its protection, charged by a linear charger from USB.

    3.65 V in the mean, 5 % left at 3.3 V; the constant-voltage part adds about half an hour (from memory).
    """
    return Supply("lithium", 3.65 * ah * 0.95, ah / charge_a + 0.5, 4.2, LIMIT_V, "one 18650 cell, 2.6 Ah")


def capacitor(farad: float = 50.0, full_v: float = 5.0, charge_a: float = CHARGE_A) -> Supply:
    """Two double-layer capacitors of 100 F and 2.7 V in series, balanced, charged from USB at a constant current.

    Usable between full and the firmware's limit: C (V1^2 - V2^2) / 2; charging takes C V / I from empty.
    """
    usable_wh = farad * (full_v**2 - LIMIT_V**2) / 2.0 / 3600.0
    return Supply(
        "capacitor", usable_wh, farad * full_v / charge_a / 3600.0, full_v, LIMIT_V, "2 x 100 F in series"
    )


def supplies() -> tuple[Supply, ...]:
    """The three compared: the standard one first."""
    return nimh(), lithium(), capacitor()
