"""The perfboards drawn from both sides, from layout.json: parts from above, wires from below (mirrored).

Numbers on the edges count holes. On the solder side every wire bears its net's colour; a list of the wires stands in
board.md, in the order in which they are best soldered.
"""

from html import escape

from curbtick.hardware import nets
from curbtick.hardware.nets import Instance

from hardware_notes.board import footprints, layout
from hardware_notes.board.footprints import COLUMNS, ROWS, Hole
from hardware_notes.board.layout import FRONT, MAIN, Layout

PITCH = 10.0
EDGE = 22.0
WIDTH = EDGE * 2 + PITCH * (COLUMNS - 1)
HEIGHT = EDGE * 2 + PITCH * (ROWS - 1) + 14.0
GROUP_COLOURS = {"AGND": "#222", "GND": "#222", "BIAS": "#c0f", "AVDD": "#d00", "MVDD": "#d00", "3V3": "#d00",
                 "ADC_VREF": "#e80", "VSYS": "#d00", "VBUS": "#e80", "BATT": "#d00"}  # fmt: skip
SIGNAL_COLOUR = "#07a"
_STYLE = (
    "text{font-family:sans-serif;font-size:3.6px} .edge{font-size:3.2px;fill:#777}"
    " .title{font-size:5px;font-weight:bold}"
    " .hole{fill:#fff;stroke:#bbb;stroke-width:.4} .body{fill:#eef4e4;stroke:#363;stroke-width:.5;opacity:.9}"
    " .pin{fill:#c80;stroke:none} .one{fill:#d00}"
)


def _x(column: int, mirrored: bool) -> float:
    return EDGE + PITCH * (COLUMNS - 1 - column if mirrored else column)


def _y(row: int) -> float:
    return EDGE + 10.0 + PITCH * row


def _grid(title: str, mirrored: bool) -> list[str]:
    lines = [f'<text class="title" x="{EDGE}" y="9">{escape(title)}</text>']
    size = f'width="{WIDTH - 2 * EDGE + 18}" height="{PITCH * (ROWS - 1) + 18}"'
    lines.append(f'<rect x="{EDGE - 9}" y="{EDGE + 1}" {size} fill="#fbfaf4" stroke="#999"/>')
    for column in range(COLUMNS):
        lines.append(
            f'<text class="edge" x="{_x(column, mirrored)}" y="{EDGE - 1}" text-anchor="middle">{column}</text>'
        )
    for row in range(ROWS):
        lines.append(f'<text class="edge" x="{EDGE - 11}" y="{_y(row) + 1.2}" text-anchor="end">{row}</text>')
        lines += [
            f'<circle class="hole" cx="{_x(c, mirrored)}" cy="{_y(row)}" r="1.6"/>' for c in range(COLUMNS)
        ]
    return lines


def _part(part: Instance, spot: layout.Spot) -> list[str]:
    holes = footprints.pin_holes(part, spot.hole, spot.direction)
    columns, rows = [c for c, _ in holes.values()], [r for _, r in holes.values()]
    left, top = _x(min(columns), False) - 3.2, _y(min(rows)) - 3.2
    width, height = PITCH * (max(columns) - min(columns)) + 6.4, PITCH * (max(rows) - min(rows)) + 6.4
    lines = [f'<rect class="body" x="{left}" y="{top}" width="{width}" height="{height}" rx="2"/>']
    for number, (column, row) in holes.items():
        first = " one" if number == "1" else ""
        lines.append(f'<circle class="pin{first}" cx="{_x(column, False)}" cy="{_y(row)}" r="1.5"/>')
    middle_x, middle_y = left + width / 2, top + height / 2 + 1.3
    turn = f' transform="rotate(90 {middle_x:g} {middle_y - 1.3:g})"' if height > width else ""
    words = part.ref if part.kind not in ("resistor", "capacitor") else f"{part.ref} {_short(part.shown)}"
    lines.append(f'<text x="{middle_x:g}" y="{middle_y:g}" text-anchor="middle"{turn}>{escape(words)}</text>')
    return lines


def _short(value: str) -> str:
    for long, short in ((" kohm", "k"), (" ohm", ""), (" nF", "n"), (" uF", "u"), (" pF", "p")):
        value = value.replace(long, short)
    return value


def _landings(found: Layout, board: str) -> list[str]:
    lines = []
    for (ref, pin), (there, (column, row)) in found.landings.items():
        if there == board:
            x, y = _x(column, False), _y(row)
            lines.append(f'<circle class="pin" cx="{x}" cy="{y}" r="2"/><text x="{x}" y="{y + 5.4}" '
                         f'text-anchor="middle">{ref}.{pin}</text>')  # fmt: skip
    return lines


def parts_side(found: Layout, board: str) -> str:
    """A board from above, its parts on it; a part's first pin is red."""
    lines = _grid(f"{board}: parts' side, row 0 towards the nose", mirrored=False)
    for part in nets.INSTANCES:
        spot = found.spots.get(part.ref)
        if spot is not None and spot.board == board:
            lines += _part(part, spot)
    return _svg([*lines, *_landings(found, board)])


def _ends(found: Layout, board: str) -> dict[Hole, str]:
    return {
        hole: " ".join(f"{r}.{p}" for r, p in pins)
        for (there, hole), pins in layout.pins_at(found).items()
        if there == board
    }


def solder_side(found: Layout, board: str) -> str:
    """A board from below, left and right swapped, its wires on it."""
    lines = _grid(f"{board}: solder side (turned over: column 0 at the right)", mirrored=True)
    for wire in found.wires:
        if wire.board == board:
            (a, b), (c, d) = wire.start, wire.end
            colour = GROUP_COLOURS.get(wire.net, SIGNAL_COLOUR)
            lines.append(f'<line x1="{_x(a, True)}" y1="{_y(b)}" x2="{_x(c, True)}" y2="{_y(d)}" stroke="{colour}" '
                         f'stroke-width="1.1"><title>{escape(wire.net)}</title></line>')  # fmt: skip
    for (column, row), _ in sorted(_ends(found, board).items()):
        lines.append(f'<circle class="pin" cx="{_x(column, True)}" cy="{_y(row)}" r="1.5"/>')
    return _svg(lines)


def _svg(lines: list[str]) -> str:
    size = f'viewBox="0 0 {WIDTH:g} {HEIGHT:g}" width="{WIDTH:g}mm"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size}><style>{_STYLE}</style>\n'
    return head + "\n".join(lines) + "\n</svg>\n"


def wire_rows(found: Layout, board: str) -> list[str]:
    """The wires of a board as table rows, net by net, grounds first, short ones first."""
    names = _ends(found, board)
    rows = sorted(
        (wire for wire in found.wires if wire.board == board),
        key=lambda w: (w.net not in nets.GROUNDS, w.net not in GROUP_COLOURS, w.net, w.length_mm),
    )
    return [f"| {w.net} | {w.start[0]}, {w.start[1]} ({names[w.start]}) | {w.end[0]}, {w.end[1]} ({names[w.end]}) | "
            f"{w.length_mm:.0f} mm |" for w in rows]  # fmt: skip


def drawings(found: Layout) -> dict[str, str]:
    """File name -> drawing, both boards from both sides."""
    return {
        "front_parts.svg": parts_side(found, FRONT),
        "front_wires.svg": solder_side(found, FRONT),
        "main_parts.svg": parts_side(found, MAIN),
        "main_wires.svg": solder_side(found, MAIN),
    }
