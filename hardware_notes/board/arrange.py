"""Make layout.json: the controller's board by hand, the front end's by simulated annealing, wires as shortest trees.

`python -m hardware_notes.board.arrange [SEED]`. The result is data that layout.py checks; how it was found does not
matter to the check. Kirkpatrick, Gelatt and Vecchi, "Optimization by Simulated Annealing", Science 220 (1983).
"""

import math
import random
import sys

from curbtick.hardware import nets
from curbtick.hardware.nets import AGND, BIAS, INSTANCES, Instance

from hardware_notes.board import footprints, layout
from hardware_notes.board.footprints import COLUMNS, CONTROLLER_HOLE, ON_WIRES, ROWS, Hole
from hardware_notes.board.layout import FRONT, MAIN, Layout, Spot, Wire

_MAIN_KINDS = ("controller", "led", "p-fet")
_MAIN_REFS = ("J2", "J4", "Rq1", "Cq1", "Rz1")
# Fixed on the front end's board: the plugs at opposite ends, the packages between, each with its capacitor at hand.
FIXED = {"J1": ((0, 7), "d"), "J3": ((23, 6), "d"), "U2": ((4, 1), "r"), "U3": ((4, 10), "r"),
         "Cs2": ((7, 8), "r"), "Cs3": ((7, 17), "r")}  # fmt: skip
STEPS = 60_000
HOT, COLD = 12.0, 0.05
WEIGHTS = {AGND: 0.35, "AVDD": 0.6, BIAS: 1.2, "3V3": 0.4}
BRIDGE_COST = 6.0
# The controller's converter stands over this hole; the microphone's pins are drawn away from it, so many holes.
CONVERTER, QUIET_HOLES = (20, 16), 12.0
EXTRA_NETS = {AGND, BIAS, *layout.QUIET}


def is_main(part: Instance) -> bool:
    """Whether a part belongs on the controller's board."""
    return part.kind in _MAIN_KINDS or part.ref in _MAIN_REFS or part.ref.startswith("Rl")


def main_board() -> tuple[dict[str, Spot], dict[tuple[str, str], tuple[str, Hole]]]:
    """The controller's board: bar in row 2, its resistors behind it, the controller, the rest at its left."""
    spots = {"U1": Spot(MAIN, CONTROLLER_HOLE, "r"), "J4": Spot(MAIN, (14, 17), "r"), "J2": Spot(MAIN, (0, 0), "r"),
             "Q1": Spot(MAIN, (0, 10), "d"), "Rq1": Spot(MAIN, (2, 10), "d"), "Cq1": Spot(MAIN, (3, 10), "d"),
             "Rz1": Spot(MAIN, (8, 0), "l")}  # fmt: skip
    for led in range(nets.LEDS):
        spots[f"LED{led + 1}"] = Spot(MAIN, (2 * led, 2), "r")
        spots[f"Rl{led + 1}"] = Spot(MAIN, (2 * led, 7), "u")
    landings = {
        ("S1", "2"): (0, 14), ("BT1", "2"): (1, 14), ("S2", "1"): (2, 14), ("S2", "2"): (3, 14),
        ("S3", "1"): (2, 15), ("S3", "2"): (3, 15), ("BZ1", "1"): (3, 0), ("BZ1", "2"): (4, 0),
    }  # fmt: skip
    return spots, {pin: (MAIN, hole) for pin, hole in landings.items()}


class Board:
    """The front end's board while it is arranged: parts on holes, and what the wires would cost."""

    def __init__(self, parts: list[Instance], generator: random.Random) -> None:
        self.parts = {part.ref: part for part in parts}
        self.spots: dict[str, tuple[Hole, str]] = {}
        self.taken: dict[Hole, str] = {}
        self.generator = generator
        self.members = {
            net: [(ref, pin) for ref, pin in sorted(pins) if ref in self.parts]
            for net, pins in nets.connectivity().items()
        }
        self.members = {net: pins for net, pins in self.members.items() if len(pins) > 1}
        self.nets_of = {
            ref: [net for net, pins in self.members.items() if any(r == ref for r, _ in pins)]
            for ref in self.parts
        }
        self.holes: dict[tuple[str, str], Hole] = {}

    def fits(self, ref: str, hole: Hole, way: str) -> bool:
        """Whether a part could lie there."""
        for column, row in footprints.covered(self.parts[ref], hole, way):
            if not (0 <= column < COLUMNS and 0 <= row < ROWS) or self.taken.get((column, row), ref) != ref:
                return False
        return True

    def put(self, ref: str, hole: Hole, way: str) -> None:
        """Lay a part down; it must fit."""
        self.lift(ref)
        self.spots[ref] = (hole, way)
        for place in footprints.covered(self.parts[ref], hole, way):
            self.taken[place] = ref
        for pin, place in footprints.pin_holes(self.parts[ref], hole, way).items():
            self.holes[(ref, pin)] = place

    def lift(self, ref: str) -> None:
        """Take a part off the board."""
        if ref in self.spots:
            for place in footprints.covered(self.parts[ref], *self.spots.pop(ref)):
                del self.taken[place]

    def anywhere(self, ref: str) -> tuple[Hole, str]:
        """A place where a part fits, drawn at random. Raises RuntimeError when none is found."""
        for _ in range(3000):
            hole = (self.generator.randrange(COLUMNS), self.generator.randrange(ROWS))
            way = self.generator.choice("rdlu")
            if self.fits(ref, hole, way):
                return hole, way
        raise RuntimeError(f"no room for {ref}: give the board more holes")

    def cost_of(self, net: str) -> float:
        """The wire that a net takes, weighted."""
        places = [self.holes[pin] for pin in self.members[net]]
        return WEIGHTS.get(net, 1.0) * sum(math.dist(a, b) for a, b in tree(places))

    def extras(self) -> float:
        """What wires do not cost: the bias beside AGND, and the microphone's pins under the controller's converter."""
        ground = {self.holes[pin] for pin in self.members[AGND]}
        bias = [self.holes[pin] for pin in self.members[BIAS]]
        beside = sum(
            (c + dc, r + dr) in ground for c, r in bias for dc, dr in ((1, 0), (-1, 0), (0, 1), (0, -1))
        )
        quiet = [self.holes[pin] for net in layout.QUIET for pin in self.members.get(net, [])]
        near = sum(max(0.0, QUIET_HOLES - math.dist(hole, CONVERTER)) for hole in quiet)
        return BRIDGE_COST * beside + near


def tree(places: list[Hole]) -> list[tuple[Hole, Hole]]:
    """The shortest tree over holes (Prim), with at most WIRES_AT_A_HOLE wires at each."""
    inside, links = [places[0]], []
    ends = dict.fromkeys(places, 0)
    left = set(places[1:]) - {places[0]}
    while left:
        free = [hole for hole in inside if ends[hole] < layout.WIRES_AT_A_HOLE]
        start, end = min(((a, b) for a in free for b in left), key=lambda pair: math.dist(*pair))
        links.append((start, end))
        ends[start] += 1
        ends[end] += 1
        inside.append(end)
        left.discard(end)
    return links


def _move(board: Board, ref: str, temperature: float, costs: dict[str, float], extras: float) -> float:
    """Try one part elsewhere; keep it when it is better, or now and then when it is not. Return the extras now."""
    before = board.spots[ref]
    old = sum(costs[net] for net in board.nets_of[ref])
    board.lift(ref)
    try:
        spot = board.anywhere(ref)
    except RuntimeError:
        board.put(ref, *before)
        return extras
    board.put(ref, *spot)
    new = {net: board.cost_of(net) for net in board.nets_of[ref]}
    now = board.extras() if EXTRA_NETS & set(board.nets_of[ref]) else extras
    worse = sum(new.values()) - old + now - extras
    if worse <= 0 or board.generator.random() < math.exp(-worse / temperature):
        costs.update(new)
        return now
    board.put(ref, *before)
    return extras


def front_board(seed: int, steps: int = STEPS) -> dict[str, Spot]:
    """Place the front end's parts."""
    generator = random.Random(seed)
    parts = [
        p
        for p in INSTANCES
        if not is_main(p) and p.kind not in ON_WIRES and p.ref not in layout.AT_MICROPHONE
    ]
    board = Board(parts, generator)
    for ref, (hole, way) in FIXED.items():
        board.put(ref, hole, way)
    loose = [ref for ref in board.parts if ref not in FIXED]
    for ref in sorted(loose, key=lambda one: board.parts[one].kind, reverse=True):
        board.put(ref, *board.anywhere(ref))
    costs = {net: board.cost_of(net) for net in board.members}
    extras = board.extras()
    for step in range(steps):
        temperature = HOT * (COLD / HOT) ** (step / steps)
        extras = _move(board, generator.choice(loose), temperature, costs, extras)
    return {ref: Spot(FRONT, hole, way) for ref, (hole, way) in board.spots.items()}


def wires(placed: Layout) -> tuple[Wire, ...]:
    """The wires of both boards: for each net the shortest tree over its holes."""
    at = layout.pins_at(placed)
    made = []
    for net, members in sorted(nets.connectivity().items()):
        for board in (FRONT, MAIN):
            places = sorted(
                hole for (there, hole), pins in at.items() if there == board and members & set(pins)
            )
            if len(places) > 1:
                made += [Wire(board, net, start, end) for start, end in tree(places)]
    return tuple(made)


def arrange(seed: int, steps: int = STEPS) -> Layout:
    """Both boards, placed and wired."""
    spots, landings = main_board()
    spots |= front_board(seed, steps)
    placed = Layout(spots, landings, ())
    return Layout(spots, landings, wires(placed))


if __name__ == "__main__":
    layout.save(arrange(int(sys.argv[1]) if len(sys.argv) > 1 else 1))
