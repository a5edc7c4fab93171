"""The pins of every kind of part: name, electrical type, and the role that polarity rules ask for."""

from dataclasses import dataclass

PASSIVE, INPUT, OUTPUT, POWER_IN, POWER_OUT = "passive", "input", "output", "power_in", "power_out"


@dataclass(frozen=True)
class Pin:
    """A pin. number: as on the part; name: what it is; type: for the rule of one driver a net; role: for polarity."""

    number: str
    name: str
    type: str = PASSIVE
    role: str = ""


def _two(role_1: str = "", role_2: str = "") -> tuple[Pin, ...]:
    return Pin("1", role_1 or "1", PASSIVE, role_1), Pin("2", role_2 or "2", PASSIVE, role_2)


# A package of four amplifiers, as all makers number it (common practice).
_QUAD = (
    *(Pin(n, f"OUT{u}", OUTPUT, "output") for n, u in (("1", "A"), ("7", "B"), ("8", "C"), ("14", "D"))),
    *(Pin(n, f"-IN{u}", INPUT) for n, u in (("2", "A"), ("6", "B"), ("9", "C"), ("13", "D"))),
    *(Pin(n, f"+IN{u}", INPUT) for n, u in (("3", "A"), ("5", "B"), ("10", "C"), ("12", "D"))),
    Pin("4", "V+", POWER_IN, "supply"),
    Pin("11", "V-", POWER_IN, "ground"),
)
# Amplifier letter -> (+input, -input, output) of a package of four.
QUAD_UNITS = {"A": ("3", "2", "1"), "B": ("5", "6", "7"), "C": ("10", "9", "8"), "D": ("12", "13", "14")}

# Pads of the 40-pad controller board that are not general-purpose pins (its data sheet, figure 2; from memory).
GROUND_PADS = ("3", "8", "13", "18", "23", "28", "38")
FIXED_PADS = {
    **dict.fromkeys(GROUND_PADS, "GND"),
    "30": "RUN",
    "33": "AGND",
    "35": "ADC_VREF",
    "36": "3V3",
    "37": "3V3_EN",
    "39": "VSYS",
    "40": "VBUS",
}
ADC_PADS = ("31", "32", "34")
BAR_PADS = ("4", "5", "6", "7", "9", "10", "11", "12", "14", "15", "16", "17")
# What the firmware does with a pad decides its type: it drives the serial output, the bar and the beeper.
_DRIVEN_PADS = {"1", *BAR_PADS, "21"}
_FIXED_TYPES = {
    "33": POWER_OUT,
    "35": POWER_OUT,
    "36": POWER_OUT,
    "39": POWER_IN,
    "40": POWER_OUT,
    "38": POWER_OUT,
}


def _pad(number: str) -> Pin:
    if number in FIXED_PADS:
        role = {"33": "ground", "35": "supply", "36": "supply"}.get(number, "")
        return Pin(number, FIXED_PADS[number], _FIXED_TYPES.get(number, PASSIVE), role)
    if number in ADC_PADS:
        return Pin(number, f"ADC{ADC_PADS.index(number)}", INPUT, "adc")
    return Pin(number, f"pad {number}", OUTPUT if number in _DRIVEN_PADS else INPUT)


PINS: dict[str, tuple[Pin, ...]] = {
    "resistor": _two(),
    "capacitor": _two(),
    "fuse": _two(),
    "switch": _two(),
    "button": _two(),
    "beeper": _two(),
    "diode": _two("cathode", "anode"),
    "led": _two("cathode", "anode"),
    "clamp": (
        Pin("1", "A", PASSIVE, "low_anode"),
        Pin("2", "K", PASSIVE, "high_cathode"),
        Pin("3", "AK", PASSIVE, "middle"),
    ),
    "p-fet": (
        Pin("1", "G", INPUT, "gate"),
        Pin("2", "S", PASSIVE, "source"),
        Pin("3", "D", PASSIVE, "drain"),
    ),
    "cells": (Pin("1", "+", POWER_OUT, "plus"), Pin("2", "-", PASSIVE, "minus")),
    "amplifier": _QUAD,
    "microphone": (
        Pin("1", "VDD", POWER_IN, "supply"),
        Pin("2", "GND", POWER_IN, "ground"),
        Pin("3", "OUT", OUTPUT, "output"),
    ),
    "connector": (Pin("1", "1"), Pin("2", "2"), Pin("3", "3")),
    "cable": tuple(Pin(str(number), str(number)) for number in range(1, 7)),
    "controller": tuple(_pad(str(number)) for number in range(1, 41)),
}


def pin(kind: str, number: str) -> Pin:
    """The pin of a kind of part. Raises KeyError, naming both, when the kind has no such pin."""
    for entry in PINS[kind]:
        if entry.number == number:
            return entry
    raise KeyError(f"a {kind} has no pin {number}: correct the table of nets")
