"""The wiring diagram and the pinout, from the firmware's table of pins and the hardware's table of nets.

`python -m tests.bench.board --write` writes them with all other views; a test fails when they are stale.
"""

import sys
from html import escape
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
sys.path.append(str(FOLDER.parent / "firmware"))

from curbtick.hardware import nets, values  # noqa: E402
from curbtick.hardware.pins import FIXED_PADS as NAMED_PADS  # noqa: E402
from curbtick_probe.board.rp2 import pins  # noqa: E402

PADS = 40
ROW = 26
TOP = 60
BOARD_LEFT, BOARD_RIGHT = 330, 550
FIXED_PADS = {int(pad): name for pad, name in NAMED_PADS.items()}
FIXED_TO = {
    3: "LEDs' cathodes, buttons",
    33: "front end's ground",
    35: "front end: bias divider",
    36: f"front end: supply through {values.SUPPLY['Rs1'].shown}, {values.SUPPLY['Cs1'].shown}",
    39: "the P-FET's source; behind it switch, fuse and cells' plus",
    40: "the P-FET's gate",
}
SERIES = {"led": f" via {values.PANEL['Rl'].shown}", "beeper": f" via {values.PANEL['Rz'].shown}"}
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
            series = SERIES.get(kind, "")
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
        "`python -m tests.bench.board --write`. Pads are those of the 40-pad boards with an RP2040 or RP2350 without "
        "radio; the boards with radio use GP23 to GP25 and GP29 otherwise and are not supported.\n\n"
        "![Wiring](wiring.svg)\n\n| pad | GPIO | name | kind | goes to |\n|---|---|---|---|---|\n"
    )
    fixed = [f"| {pad} | - | {FIXED_PADS[pad]} | supply | {what} |" for pad, what in FIXED_TO.items()]
    return head + "\n".join([*rows, *fixed]) + "\n"


def disagreements() -> list[str]:
    """Where the firmware's table of pins and the table of nets name a pad differently."""
    return [
        f"pad {pad}: the firmware says {name}, the table of nets {nets.CONTROLLER_NETS.get(str(pad), 'nothing')}"
        for _, pad, name, _ in pins.PINS
        if pad and nets.CONTROLLER_NETS.get(str(pad)) != name.upper()
    ]
