"""The two perfboards: placement and wires as data (layout.json), and whether they make the table's connections.

Both boards are of the common size 50 x 70 mm, 18 x 24 holes, seen from the parts' side, row 0 towards the nose. The
front end has a board of its own; the controller's board lies above it and carries bar, P-FET and landing holes for what
hangs on wires. Every wire on the solder side is insulated and runs straight from hole to hole.
"""

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from curbtick.hardware import nets
from curbtick.hardware.nets import AGND, BIAS, INSTANCES, Instance

from hardware_notes.board import footprints
from hardware_notes.board.footprints import COLUMNS, ON_WIRES, PITCH_MM, ROWS, Hole

LAYOUT = Path(__file__).with_name("layout.json")
FRONT, MAIN = "front end", "controller"
# Cs5 sits on the microphone's small board.
AT_MICROPHONE = ("Cs5",)
# Wires between boards and to what hangs on wires: plug, socket.
CABLES = (("J3", "J4"), ("J1", "MK1"))
BOARDS_APART_MM = 12.0
WIRES_AT_A_HOLE = 3
# Nets where a wire picks up what it should not: the microphone's, and every amplifier's input.
SENSITIVE = ("MIC", "M1", "MN", "AN", "BN", "GN", "HN", "CN", "DN", "EN", "H0", BIAS)
# The microphone's signal before it is amplified: kept away from the controller's converter.
QUIET = ("MIC", "M1", "H0", "HN")
SENSITIVE_WIRE_MM = 33.0
NOISY_MM = 20.0
# Each package and its capacitor; the package's own supply pins lie 15 mm apart.
DECOUPLING = (("U2", "Cs2"), ("U3", "Cs3"))
DECOUPLING_MM = 25.0


@dataclass(frozen=True)
class Spot:
    """Where a part is: board, first hole, direction."""

    board: str
    hole: Hole
    direction: str


@dataclass(frozen=True)
class Wire:
    """A wire on the solder side of a board."""

    board: str
    net: str
    start: Hole
    end: Hole

    @property
    def length_mm(self) -> float:
        """Its length, straight from hole to hole."""
        return PITCH_MM * math.dist(self.start, self.end)


@dataclass(frozen=True)
class Layout:
    """spots: ref -> where it is; landings: (ref, pin) of what hangs on wires -> (board, hole); wires."""

    spots: dict[str, Spot]
    landings: dict[tuple[str, str], tuple[str, Hole]]
    wires: tuple[Wire, ...]


def load(path: Path = LAYOUT) -> Layout:
    """Read a layout. Raises ValueError naming the file when it cannot be understood."""
    try:
        data: dict[str, Any] = json.loads(path.read_text())
        spots = {
            ref: Spot(board, (hole[0], hole[1]), way) for ref, (board, hole, way) in data["spots"].items()
        }
        landings = {(ref, pin): (board, (hole[0], hole[1])) for ref, pin, board, hole in data["landings"]}
        wires = tuple(Wire(board, net, (a[0], a[1]), (b[0], b[1])) for board, net, a, b in data["wires"])
    except (KeyError, TypeError, ValueError, IndexError) as error:
        raise ValueError(
            f"{path} is no layout ({error}): make it again with hardware_notes.board.arrange"
        ) from error
    return Layout(spots, landings, wires)


def save(layout: Layout, path: Path = LAYOUT) -> None:
    """Write a layout, one entry a line."""
    spots = {ref: [spot.board, list(spot.hole), spot.direction] for ref, spot in layout.spots.items()}
    landings = [[ref, pin, board, list(hole)] for (ref, pin), (board, hole) in layout.landings.items()]
    wires = [[w.board, w.net, list(w.start), list(w.end)] for w in layout.wires]
    lines = ['{"spots": {']
    lines.append(",\n".join(f"{json.dumps(ref)}: {json.dumps(entry)}" for ref, entry in spots.items()))
    lines.append('}, "landings": [')
    lines.append(",\n".join(json.dumps(entry) for entry in landings))
    lines.append('], "wires": [')
    lines.append(",\n".join(json.dumps(entry) for entry in wires))
    lines.append("]}\n")
    path.write_text("\n".join(lines))


def pins_at(layout: Layout) -> dict[tuple[str, Hole], list[tuple[str, str]]]:
    """(board, hole) -> the pins in it; more than one is a mistake that `problems` tells."""
    found: dict[tuple[str, Hole], list[tuple[str, str]]] = {}
    for part in INSTANCES:
        spot = layout.spots.get(part.ref)
        if spot is not None:
            for pin, hole in footprints.pin_holes(part, spot.hole, spot.direction).items():
                found.setdefault((spot.board, hole), []).append((part.ref, pin))
    for landing, (board, hole) in layout.landings.items():
        found.setdefault((board, hole), []).append(landing)
    return found


def _leads(parts: Sequence[Instance]) -> Iterable[tuple[tuple[str, str], tuple[str, str]]]:
    """What cables and the loose leads between parts on wires join: pairs of pins."""
    for plug, socket in CABLES:
        for number, _ in nets.instance(plug).nets:
            yield (plug, number), (socket, number)
    yield ("BT1", "1"), ("F1", "1")
    yield ("F1", "2"), ("S1", "1")
    for ref in AT_MICROPHONE:
        for number, net in nets.instance(ref).nets:
            yield (ref, number), ("MK1", next(n for n, there in nets.instance("MK1").nets if there == net))


def connectivity(layout: Layout) -> set[frozenset[tuple[str, str]]]:
    """The groups of pins that boards, wires, cables and leads join."""
    parent: dict[object, object] = {}

    def find(one: object) -> object:
        parent.setdefault(one, one)
        while parent[one] != one:
            one = parent[one]
        return one

    for place, members in pins_at(layout).items():
        for member in members:
            parent[find(("pin", member))] = find(("hole", place))
    for wire in layout.wires:
        parent[find(("hole", (wire.board, wire.start)))] = find(("hole", (wire.board, wire.end)))
    for one, other in _leads(INSTANCES):
        parent[find(("pin", one))] = find(("pin", other))
    groups: dict[object, set[tuple[str, str]]] = {}
    for part in INSTANCES:
        for number, net in part.nets:
            if net != nets.FREE:
                groups.setdefault(find(("pin", (part.ref, number))), set()).add((part.ref, number))
    return {frozenset(group) for group in groups.values()}


def _placement(layout: Layout) -> list[str]:
    wrong = []
    taken: dict[tuple[str, Hole], str] = {}
    for part in INSTANCES:
        spot = layout.spots.get(part.ref)
        if spot is None:
            if part.kind not in ON_WIRES and part.ref not in AT_MICROPHONE:
                wrong.append(f"{part.ref} has no place")
            continue
        for hole in footprints.covered(part, spot.hole, spot.direction):
            if not (0 <= hole[0] < COLUMNS and 0 <= hole[1] < ROWS):
                wrong.append(f"{part.ref} reaches beyond the board at {hole}")
            other = taken.setdefault((spot.board, hole), part.ref)
            if other != part.ref:
                wrong.append(f"{part.ref} and {other} both take {spot.board} {hole}")
    for (ref, _), (board, hole) in layout.landings.items():
        if taken.setdefault((board, hole), ref) != ref:
            wrong.append(f"{ref}'s wire lands where {taken[(board, hole)]} is: {board} {hole}")
    return wrong


def _wiring(layout: Layout) -> list[str]:
    wrong = []
    holes = pins_at(layout)
    ends: dict[tuple[str, Hole], int] = {}
    for wire in layout.wires:
        for end in (wire.start, wire.end):
            ends[(wire.board, end)] = ends.get((wire.board, end), 0) + 1
            if (wire.board, end) not in holes:
                wrong.append(f"a wire of {wire.net} ends at the empty hole {wire.board} {end}")
        if wire.net in SENSITIVE and wire.length_mm > SENSITIVE_WIRE_MM:
            wrong.append(f"a wire of {wire.net} is {wire.length_mm:.0f} mm long")
    wrong += [f"{count} wires end at {place}" for place, count in ends.items() if count > WIRES_AT_A_HOLE]
    due = set(nets.connectivity().values())
    made = connectivity(layout)
    for group in sorted(map(sorted, made - due)):
        wrong.append(f"joined on the boards and not in the table: {group[:6]}")
    for group in sorted(map(sorted, due - made)):
        wrong.append(f"joined in the table and not on the boards: {group[:6]}")
    return wrong


def _net_holes(layout: Layout, net: str, board: str) -> set[Hole]:
    members = nets.connectivity()[net]
    return {hole for (there, hole), pins in pins_at(layout).items() if there == board and members & set(pins)}


def bias_apart(layout: Layout) -> list[str]:
    """Where the bias is in a hole next to one of AGND: a solder bridge there silences all inputs.

    Two pins of one package are left out: they are neighbours by its pinout.
    """
    at = pins_at(layout)
    ground = _net_holes(layout, AGND, FRONT)
    wrong = []
    for hole in sorted(_net_holes(layout, BIAS, FRONT)):
        for dc, dr in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            beside = (hole[0] + dc, hole[1] + dr)
            if beside in ground and not _same_part(at[(FRONT, hole)], at[(FRONT, beside)]):
                wrong.append(f"BIAS at {hole} lies next to {AGND} at {beside}")
    return wrong


def _same_part(one: list[tuple[str, str]], other: list[tuple[str, str]]) -> bool:
    return bool({ref for ref, _ in one} & {ref for ref, _ in other})


def decoupling_mm(layout: Layout, package: str, capacitor: str) -> float:
    """The way from a package's supply pin through its capacitor to its ground pin, straight."""
    holes = {pin: hole for (_, hole), pins in pins_at(layout).items() for pin in pins}
    supply = math.dist(holes[(package, "4")], holes[(capacitor, "1")])
    ground = math.dist(holes[(package, "11")], holes[(capacitor, "2")])
    return PITCH_MM * (supply + ground)


def _nearest_mm(layout: Layout, others: Iterable[Hole]) -> float:
    """The least distance from the front end's QUIET pins to holes of the controller's board, one board higher."""
    quiet = [hole for net in QUIET for hole in _net_holes(layout, net, FRONT)]
    across = min(PITCH_MM * math.dist(one, other) for one in quiet for other in others)
    return math.hypot(across, BOARDS_APART_MM)


def sensitive_mm(layout: Layout) -> float:
    """The least distance from the microphone's signal, before it is amplified, to the controller's converter.

    The converter stands at the USB end of the controller board, beside its pads 35 to 40.
    """
    at = pins_at(layout)
    return _nearest_mm(
        layout,
        [
            h
            for (board, h), pins in at.items()
            if board == MAIN and any(r == "U1" and int(p) >= 35 for r, p in pins)
        ],
    )


def beeper_mm(layout: Layout) -> float:
    """The least distance from the microphone's signal to the beeper's resistor and landing holes."""
    at = pins_at(layout)
    return _nearest_mm(
        layout,
        [h for (board, h), pins in at.items() if board == MAIN and any(r in ("BZ1", "Rz1") for r, _ in pins)],
    )


def problems(layout: Layout) -> list[str]:
    """Everything that is wrong with a layout; an empty list when it can be built and makes the table's connections."""
    wrong = _placement(layout) + _wiring(layout) + bias_apart(layout)
    if wrong:
        return wrong
    near = sensitive_mm(layout)
    if near < NOISY_MM:
        wrong.append(f"the microphone's pins lie {near:.0f} mm from the controller's converter")
    if beeper_mm(layout) < NOISY_MM:
        wrong.append(f"the microphone's pins lie {beeper_mm(layout):.0f} mm from the beeper's wires")
    for package, capacitor in DECOUPLING:
        if decoupling_mm(layout, package, capacitor) > DECOUPLING_MM:
            wrong.append(f"{capacitor} lies too far from {package}'s supply pins")
    return wrong
