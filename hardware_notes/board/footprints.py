"""Which holes of a perfboard each part takes, and which parts hang on wires.

A hole is (column, row). Leaded resistors of 1/8 W lie over three pitches; capacitors with leads 5 mm apart over two;
SMD parts sit on adapters with one row of pins (clamps, P-FET, suppressor) or two rows six pitches apart (TSSOP-14).
"""

from curbtick.hardware.nets import Instance

Hole = tuple[int, int]

COLUMNS, ROWS = 24, 18
PITCH_MM = 2.54

_LINE = {
    "resistor": {"1": 0, "2": 3},
    "capacitor": {"1": 0, "2": 2},
    "diode": {"1": 0, "2": 2},
    "led": {"2": 0, "1": 1},
    "clamp": {"1": 0, "2": 1, "3": 2},
    "p-fet": {"1": 0, "2": 1, "3": 2},
    "connector": {"1": 0, "2": 1, "3": 2},
    "cable": {str(number): number - 1 for number in range(1, 7)},
}
# Off the boards: their wires end in landing holes on the controller's board.
ON_WIRES = ("cells", "fuse", "switch", "button", "beeper", "microphone")
# Where the controller lies: its pad 20, clear of the header in the last row by its own overhang beyond the pads.
CONTROLLER_HOLE: Hole = (4, 8)
# The controller board's two rows of pads, seven pitches apart; USB to the right, pads 1 and 40 there.
CONTROLLER_ROWS, CONTROLLER_PADS = 7, 20
ADAPTER_ROWS = 6


def _adapter() -> dict[str, Hole]:
    near = {str(number): (number - 1, ADAPTER_ROWS) for number in range(1, 8)}
    far = {str(number): (14 - number, 0) for number in range(8, 15)}
    return near | far


def _controller() -> dict[str, Hole]:
    upper = {str(pad): (20 - pad, 0) for pad in range(1, 21)}
    lower = {str(pad): (pad - 21, CONTROLLER_ROWS) for pad in range(21, 41)}
    return upper | lower


def offsets(kind: str) -> dict[str, Hole]:
    """Pin -> hole of a part that lies to the right from its first hole at (0, 0)."""
    if kind == "amplifier":
        return _adapter()
    if kind == "controller":
        return _controller()
    return {pin: (column, 0) for pin, column in _LINE[kind].items()}


def turned(hole: Hole, direction: str) -> Hole:
    """A hole's offset in a direction: "r", "d", "l" or "u"."""
    column, row = hole
    return {"r": (column, row), "d": (-row, column), "l": (-column, -row), "u": (row, -column)}[direction]


def pin_holes(part: Instance, place: Hole, direction: str) -> dict[str, Hole]:
    """Pin -> hole of a part at a place."""
    found = {}
    for pin, offset in offsets(part.kind).items():
        column, row = turned(offset, direction)
        found[pin] = (place[0] + column, place[1] + row)
    return found


def covered(part: Instance, place: Hole, direction: str) -> set[Hole]:
    """Every hole that a part covers; other parts may not use them. Between the controller's pads wires may land: they
    end on the solder side.
    """
    holes = set(pin_holes(part, place, direction).values())
    if part.kind == "controller":
        return holes
    columns, rows = [c for c, _ in holes], [r for _, r in holes]
    return {(c, r) for c in range(min(columns), max(columns) + 1) for r in range(min(rows), max(rows) + 1)}
