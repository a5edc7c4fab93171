"""Whether the parts fit each other: nothing in the same place, gaps kept, the bayonet turns home and holds."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from build123d import Part

from hardware_notes.case import dimensions as d
from hardware_notes.case.assembly import PRINTED, on_axis, placed
from hardware_notes.case.bought import BOUGHT
from hardware_notes.case.collar import FRONT_Z, collar, detents

Solids = dict[str, list[Part]]

# (one body, the other, least gap in mm, why)
GAPS = (
    (
        "front-end parts",
        "controller board",
        0.5,
        "solder tails of the upper board over the lower one's parts",
    ),
    ("front-end parts", "shell", 0.5, "the boards go in from above"),
    ("controller", "lid", d.GAP_CLEAR, "nothing presses on the controller"),
    ("controller", "shell", d.GAP_PLACED, "the USB socket behind its opening"),
    ("LEDs", "lid", 0.3, "LEDs in their slot"),
    ("READ button", "controller board", d.GAP_CLEAR, "the button's body behind the boards"),
    ("READ button", "shell", d.GAP_CLEAR, "the button's nut beside the wall"),
    ("STEP button", "beeper", d.GAP_CLEAR, "the button's nut beside the beeper"),
    ("cells", "shell", 0.5, "the holder goes in from above"),
    ("cells", "door", d.GAP_CLEAR, "room for foam over the cells"),
    ("microphone board", "nose", 0.4, "foam around the microphone: a knock must not reach it"),
    ("felt plug", "microphone board", 0.9, "the gap that the attenuator's formula has"),
    ("cap", "lid", d.CAP_TRAVEL - 0.01, "a button's way"),
    ("stopper", "controller", 0.5, "the stopper in the slot before the USB socket"),
    ("lid", "door", 0.3, "the door lifts off"),
)


@dataclass(frozen=True)
class Turn:
    """A step of putting the collar on. pulled_mm: how far it is off its seat; turned_deg: 0 at the entry."""

    pulled_mm: float
    turned_deg: float


def solids() -> Solids:
    """Every body of the probe as it stands, by name."""
    found: Solids = {name: placed(name) for name in PRINTED}
    found.update({name: [make()] for name, make in BOUGHT.items()})
    return found


def overlap_mm3(one: Part, other: Part) -> float:
    """The room that two bodies share."""
    shared = one.intersect(other)
    if shared is None:
        return 0.0
    return sum(body.volume for body in (shared if isinstance(shared, list) else [shared]))


def gap_mm(these: list[Part], those: list[Part]) -> float:
    """The least distance between two bodies' copies."""
    return min(one.distance_to(other) for one in these for other in those)


def clashes(bodies: Solids) -> dict[str, float]:
    """Pairs that share room, with how much in mm3. The felts and the foam give way, so they are left out."""
    soft = ("rim felt", "lining", "felt plug")
    hard = [(name, part) for name, parts in bodies.items() if name not in soft for part in parts]
    found = {}
    for (name, one), (other_name, other) in combinations(hard, 2):
        shared = overlap_mm3(one, other)
        if shared > 1e-3:
            found[f"{name} and {other_name}"] = shared
    return found


def way_on() -> Iterator[Turn]:
    """The collar's way: straight on, then the turn."""
    for step in range(9):
        yield Turn((8 - step) * 1.5, 0.0)
    for step in range(1, 9):
        yield Turn(0.0, step * d.TURN_DEG / 8)


def collar_at(solid: Part, turn: Turn) -> Part:
    """The collar on its way, in the probe's axes. It turns clockwise as the technician sees it."""
    return on_axis(FRONT_Z - turn.pulled_mm, 180.0 - turn.turned_deg) * solid


def way_clash_mm3(nose: Part) -> float:
    """The most that collar and nose share on the way, the detents left aside: 0 when it goes on."""
    smooth = collar(snap=False)
    return max(overlap_mm3(collar_at(smooth, turn), nose) for turn in way_on())


def holding_mm3(nose: Part) -> float:
    """What would have to be sheared off to pull the turned collar 1 mm off its seat."""
    return overlap_mm3(collar_at(collar(snap=False), Turn(1.0, d.TURN_DEG)), nose)


def _detents_mm3(nose: Part, turn: Turn) -> float:
    """What the detents share with the nose at a step of the turn."""
    return sum(overlap_mm3(collar_at(bump, turn), nose) for bump in detents())


def detent_bite_mm3(nose: Part) -> float:
    """What the detents stand in the lugs' way, at most, on the turn: to turn back, this has to be squeezed."""
    return max(_detents_mm3(nose, Turn(0.0, d.TURN_DEG * (0.3 + 0.05 * step))) for step in range(15))


def home_detent_mm3(nose: Part) -> float:
    """What the detents share with the lugs when the collar is home: 0, they are past."""
    return _detents_mm3(nose, Turn(0.0, d.TURN_DEG))


def bayonet_gap_mm(nose: Part) -> float:
    """The least gap between the turned collar, lifted by half its axial play, and the nose."""
    play = d.GROOVE_AXIAL_GAP / 2
    return collar_at(collar(snap=False), Turn(play, d.TURN_DEG)).distance_to(nose)
