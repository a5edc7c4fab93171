"""The repair steps of a finding, chosen by what its readings say is wrong; cheapest first, which is common practice."""

from collections.abc import Collection
from typing import NamedTuple


class Step(NamedTuple):
    """A step of a plan: its id, and its words on page and paper."""

    id: str
    words: str


CLEAN = Step("clean", "Clean the sensor's face and read again")
COMPARE = Step(
    "compare", "Is another class's sensor fitted? Compare its part number with the others' on the bumper"
)
PLUG = Step("wiring", "Look at the plug and the wiring first: unplugged, a loose pin, water, corrosion")
MOUNTING = Step("mounting", "Look at mounting and membrane: loose in its ring, cracked, thick paint, filler")
INSPECT = Step("inspect", "Look at paint thickness and mounting, then at the connector for corrosion")
MEND = Step("repair", "Mend the wiring or the connector, where it is at fault")
SWAP = Step("swap", "Swap with a neighbour, read both: does the fault move?")
REPLACE = Step("replace", "Replace the sensor, or repair its wiring if the fault stayed")
READ_AGAIN = Step("read_again", "Read again to prove the repair")

CONDITIONS = Step("conditions", "Reverse gear in, ignition on, parking brake as the system needs it")
FUSE = Step("fuse", "Check the system's fuse and supply")
MODULE = Step("module", "Check the module and its connector")
FAULT_MEMORY = Step(
    "fault_memory",
    "Read the vehicle's fault memory (one faulty sensor can switch all off); note the codes, clear them",
)
READ_ALL = Step("read_again", "Read the whole bumper again")
NOTE = Step("note", "Note")

Plan = tuple[Step, ...]

SILENT: Plan = (CONDITIONS, FUSE, MODULE, FAULT_MEMORY, READ_ALL)
# A sensor that sends too faintly, or is fainter than its siblings.
FAINT: Plan = (CLEAN, INSPECT, SWAP, REPLACE, READ_AGAIN)
# The first reason that a finding has decides: what it names makes the later ones likely too (a sensor of another class
# is fainter in this one's window), not the other way round.
BY_REASON: tuple[tuple[str, Plan], ...] = (
    ("off_frequency", (COMPARE, CLEAN, SWAP, REPLACE, READ_AGAIN)),
    ("irregular", (PLUG, MEND, SWAP, REPLACE, READ_AGAIN)),
    ("only_neighbour", (PLUG, MEND, SWAP, REPLACE, READ_AGAIN)),
    ("nothing_heard", (PLUG, MEND, SWAP, REPLACE, READ_AGAIN)),
    ("odd_ringdown", (MOUNTING, CLEAN, SWAP, REPLACE, READ_AGAIN)),
)
# Steps that change something on the vehicle: a finding on which one is noted is done, and waits for its proof.
REPAIRS = frozenset(step.id for step in (CLEAN, REPLACE, MEND, CONDITIONS, FUSE, MODULE, FAULT_MEMORY))


def plan_of(what: str, reasons: Collection[str]) -> Plan:
    """Return the steps to try on a finding. what: "weak", "dead" or "not_transmitting"; reasons: of its reading."""
    if what == "not_transmitting":
        return SILENT
    return next((plan for reason, plan in BY_REASON if reason in reasons), FAINT)


def _words() -> dict[str, str]:
    plans = [SILENT, FAINT, *(plan for _, plan in BY_REASON)]
    words = {step.id: step.words for plan in plans for step in plan}
    return {**words, READ_AGAIN.id: READ_AGAIN.words, NOTE.id: NOTE.words}


# What may be noted on one finding or another, in words.
STEP_WORDS = _words()
