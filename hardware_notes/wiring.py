"""Draws the wiring diagram and writes the pinout and the parts list, from the tables that firmware and formulas read.

`python -m hardware_notes.wiring` writes wiring.svg, pinout.md and parts.md; a test fails when they are stale.
"""

import sys
from html import escape
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
sys.path.append(str(FOLDER.parent / "firmware"))

from curbtick_probe.board.rp2 import pins  # noqa: E402

from hardware_notes.frontend import values  # noqa: E402
from hardware_notes.power import budget  # noqa: E402

PADS = 40
ROW = 26
TOP = 60
BOARD_LEFT, BOARD_RIGHT = 330, 550
FIXED_PADS = {
    3: "GND", 8: "GND", 13: "GND", 18: "GND", 23: "GND", 28: "GND", 33: "AGND", 38: "GND",
    30: "RUN", 35: "ADC_VREF", 36: "3V3 out", 37: "3V3_EN", 39: "VSYS", 40: "VBUS",
}  # fmt: skip
FIXED_TO = {
    3: "LEDs' cathodes, buttons",
    33: "front end's ground",
    35: "front end: bias divider",
    36: "front end: supply through 10 ohm, 47 uF",
    39: "cells' plus, through the switch and the P-FET",
}
COLOURS = {
    "led": "#b58900",
    "button": "#268bd2",
    "beeper": "#859900",
    "analogue": "#dc322f",
    "uart": "#6c71c4",
}


def _place(pad: int) -> tuple[int, bool]:
    """(y, whether on the left side) of a pad, seen from above with USB at the top."""
    left = pad <= PADS // 2
    row = pad - 1 if left else PADS - pad
    return TOP + 30 + row * ROW, left


def _text(x: float, y: float, words: str, anchor: str, weight: str = "normal") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" font-weight="{weight}">{escape(words)}</text>'


def _wire(pad: int, label: str, what: str, colour: str) -> list[str]:
    y, left = _place(pad)
    inner, outer = (BOARD_LEFT, BOARD_LEFT - 40) if left else (BOARD_RIGHT, BOARD_RIGHT + 40)
    anchor = "end" if left else "start"
    shift = -6 if left else 6
    return [
        f'<line x1="{inner}" y1="{y}" x2="{outer}" y2="{y}" stroke="{colour}" stroke-width="2.5"/>',
        _text(outer + shift, y + 4, what, anchor),
        _text(inner - 2 * shift, y + 4, label, "start" if left else "end", "bold"),
    ]


def diagram() -> str:
    """The wiring diagram as SVG."""
    height = TOP + 30 + (PADS // 2) * ROW + 40
    width = BOARD_LEFT + BOARD_RIGHT
    body = [
        f'<rect x="{BOARD_LEFT}" y="{TOP}" width="{BOARD_RIGHT - BOARD_LEFT}" height="{(PADS // 2) * ROW + 30}" '
        'rx="8" fill="#f4f4f0" stroke="#333"/>',
        f'<rect x="{(BOARD_LEFT + BOARD_RIGHT) / 2 - 25}" y="{TOP - 14}" width="50" height="26" fill="#999"/>',
        _text((BOARD_LEFT + BOARD_RIGHT) / 2, TOP - 22, "USB", "middle"),
        _text(
            (BOARD_LEFT + BOARD_RIGHT) / 2,
            22,
            "Controller board from above, and what goes to its pads",
            "middle",
            "bold",
        ),
    ]
    used = {row[1]: row for row in pins.PINS if row[1]}
    for pad in range(1, PADS + 1):
        y, left = _place(pad)
        if pad in used:
            number, _, name, kind = used[pad]
            what = pins.GOES_TO[name]
            series = {"led": " via 560 ohm", "beeper": " via 100 ohm"}.get(kind, "")
            body += _wire(
                pad, f"{pad}  GP{number}  {name}", what.split(" through")[0] + series, COLOURS[kind]
            )
        elif pad in FIXED_PADS:
            body += _wire(
                pad, f"{pad}  {FIXED_PADS[pad]}", FIXED_TO.get(pad, ""), "#333" if pad in FIXED_TO else "#ccc"
            )
        else:
            body.append(
                _text(
                    BOARD_LEFT + 12 if left else BOARD_RIGHT - 12, y + 4, str(pad), "start" if left else "end"
                )
            )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        'font-size="12">\n' + "\n".join(body) + "\n</svg>\n"
    )


def pinout() -> str:
    """The pinout as Markdown."""
    rows = [
        f"| {pad or 'on the board'} | GP{number} | `{name}` | {kind} | {pins.GOES_TO[name]} |"
        for number, pad, name, kind in pins.PINS
    ]
    head = (
        "# Pinout\n\nMade from `firmware/curbtick_probe/board/rp2/pins.py`, which the firmware reads, by "
        "`python -m hardware_notes.wiring`. Pads are those of the 40-pad boards with an RP2040 or RP2350 without "
        "radio; the boards with radio use GP23 to GP25 and GP29 otherwise and are not supported.\n\n"
        "![Wiring](wiring.svg)\n\n| pad | GPIO | name | kind | goes to |\n|---|---|---|---|---|\n"
    )
    fixed = [f"| {pad} | - | {FIXED_PADS[pad]} | supply | {what} |" for pad, what in FIXED_TO.items()]
    return head + "\n".join([*rows, *fixed]) + "\n"


def _si(value: float, unit: str) -> str:
    if unit == "ohm":
        return f"{value / 1e3:g} kohm" if value >= 1e3 else f"{value:g} ohm"
    return f"{value * 1e12:g} pF" if value < 1e-9 else f"{value * 1e9:g} nF"


def _signal_rows() -> list[str]:
    rows = []
    for name, part in values.PARTS.items():
        if name in ("Rmic", "GBW"):
            continue
        unit = "ohm" if name.startswith("R") else "F"
        count = 3 if name in ("Rout", "Cout") else 1
        kind = "resistor, thin film" if unit == "ohm" else "capacitor"
        tolerance = f"{part.tolerance * 100:g} %"
        rows.append(f"| {name} | {count} | {kind} | {_si(part.value, unit)} | {tolerance} | {part.what} |")
    return rows


OTHER_PARTS = (
    (
        "controller",
        "1",
        "40-pad board with RP2040 or RP2350, 2 MB of flash or more, no radio",
        "two makers and clones",
    ),
    (
        "amplifiers",
        "2",
        f"quad operational amplifier, {values.PARTS['GBW'].value / 1e6:g} MHz, "
        f"{values.OPAMP_NOISE_V_PER_RT_HZ * 1e9:g} nV per root Hz or less, rail to rail in and out, 3.3 V, "
        f"{values.OPAMP_SUPPLY_A * 1e3:g} mA each",
        "any of three makers' CMOS parts of this class; or four duals",
    ),
    (
        "microphone",
        "1",
        f"analogue MEMS microphone with a response stated to 80 kHz, {values.MIC_DBV_PER_PA:g} dBV "
        f"at 1 Pa, {values.MIC_SNR_DBA:g} dB(A), overload {values.MIC_OVERLOAD_DB_SPL:g} dB SPL or more",
        "wideband electret capsule of 6 mm or less with its own 2.2 kohm; then Rg1 and Rg2 are set anew (calibration)",
    ),
    ("bias", "2 + 1", "10 kohm 1 % from ADC_VREF to AGND, 10 uF at the middle", "any"),
    ("clamp", "3", "dual Schottky diode in series, to 3V3 and AGND, at each ADC pin", "two single ones"),
    ("ESD", "1", "low-capacitance suppressor, 3.3 V, at the microphone's connector", "any of 5 pF or less"),
    (
        "LEDs",
        "12",
        f"3 mm, one colour, bright at {budget.LED_A * 1e3:g} mA, with {budget.LED_OHM:g} ohm each",
        "any",
    ),
    ("buttons", "2", "sealed push button, 12 mm, felt through a glove", "any"),
    ("beeper", "1", "piezo disc without driver, resonance near 4 kHz, 100 ohm in series", "any"),
    (
        "cells",
        "3",
        "AA NiMH, low self-discharge, 2 Ah, in a holder",
        "one lithium-ion cell with protection and charger",
    ),
    (
        "supply",
        "1",
        "P-channel MOSFET, gate to VBUS, between switch and VSYS; 10 uF",
        "Schottky diode, 0.3 V worse",
    ),
    (
        "collar",
        "1",
        "tube, 40 mm bore with 5 mm of felt inside, 50 mm long; felt rim of 10 mm; felt plug",
        "printed or turned",
    ),
    (
        "felt",
        "-",
        "wool felt, flow resistivity 100 kPa s/m2 within a fifth (ISO 9053-1)",
        "cut the plug to calibrate",
    ),
)


def parts() -> str:
    """The parts list as Markdown."""
    head = (
        "# Parts\n\nMade by `python -m hardware_notes.wiring` from the tables that the formulas and the netlist read. "
        "Descriptions are generic on purpose: any part that meets one serves.\n\n"
        "## The rest\n\n| what | count | description | second source |\n|---|---|---|---|\n"
    )
    other = "\n".join(f"| {' | '.join(row)} |" for row in OTHER_PARTS)
    signal = (
        "\n\n## Signal path\n\n| name | count | part | value | tolerance | where |\n|---|---|---|---|---|---|\n"
        + "\n".join(_signal_rows())
    )
    supply = "\n".join(
        f"| {s.name} | {s.what} | {s.usable_wh:.2f} | {s.hours(budget.WORKING_DAY):.1f} | "
        f"{s.readings(budget.WORKING_DAY):.0f} | {s.charge_h:.2f} | {s.full_v:.2f} | {s.limit_v:.2f} |"
        for s in budget.supplies()
    )
    power = (
        "\n\n## Supplies\n\n| supply | cells | usable Wh | hours of a working day | readings | hours to charge | "
        "V full | V at the limit |\n|---|---|---|---|---|---|---|---|\n" + supply
    )
    return head + other + signal + power + "\n"


MADE = {"wiring.svg": diagram, "pinout.md": pinout, "parts.md": parts}


def main() -> None:
    """Write everything that is made."""
    for name, make in MADE.items():
        (FOLDER / name).write_text(make())


if __name__ == "__main__":
    main()
