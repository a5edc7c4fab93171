"""What is right to say about a scene, fixed when the scene is drawn, and the judgement of what was said.

The rules come from definitions alone: the held sensor's level at the collar against the limits that the hardware's
chain asks for (PASS at or above PASS_DBFS of its class, DEAD below -35 dBFS, WEAK between), its frequency within
6.5 kHz of the class, a quarter of the due bursts missing, and the two proofs that DEAD needs. No draw lies within
BAND_DB of a limit, except the kind that is about just that, where both neighbours are right.
"""

from dataclasses import dataclass

# By class in kHz; a custom class has the limits of 40 kHz. From hardware_notes/frontend.md: 99 of 100 healthy sensors.
PASS_DBFS = {0: -17.0, 40: -17.0, 48: -20.0, 58: -22.0, 68: -25.0}
# What a sibling never reaches in the collar, as the same sums have it.
NEIGHBOUR_DBFS = {0: -38.0, 40: -38.0, 48: -41.0, 58: -43.0, 68: -43.0}
DEAD_DBFS = -35.0
BAND_DB = 1.5
WINDOW_HZ = 6500.0

RIGHT, ACCEPTED, REFUSED, WRONG = "right", "accepted", "refused", "wrong"
FALSE_PASS, FALSE_DEAD, FAULT_JUDGED = "false_pass", "false_dead", "fault_judged"
FALSE_ALARM, MISSED, CALM = "false_alarm", "missed", "calm"
JUDGEMENTS = (
    *(RIGHT, ACCEPTED, REFUSED, WRONG),
    *(FALSE_PASS, FALSE_DEAD, FAULT_JUDGED),
    *(FALSE_ALARM, MISSED, CALM),
)
ALARMS, CALMS = ("leak", "hiss", "tone"), ("tight", "quiet")


@dataclass(frozen=True)
class Truth:
    """best: what a perfect listener says; accepted: what is no mistake either; must_not: what is a false verdict.

    sound: the held sensor is as it should be and a perfect listener says so, which makes any other word a cost.
    transmits: a part of this vehicle's system sounds during the scene. dead: the held sensor sends nothing that counts.
    fault: the probe itself is at fault, so any verdict is wrong. apart: the name under which it is counted apart.
    level_dbfs, frequency_hz: the held sensor's, as the low input sees it; None where it sends nothing.
    """

    best: frozenset[str]
    accepted: frozenset[str] = frozenset()
    must_not: frozenset[str] = frozenset()
    sound: bool = False
    transmits: bool = True
    dead: bool = False
    fault: bool = False
    apart: str | None = None
    level_dbfs: float | None = None
    frequency_hz: float | None = None


def said(*words: str) -> frozenset[str]:
    """A set of verdicts."""
    return frozenset(words)


def judge(truth: Truth, outcome: str) -> str:
    """One of JUDGEMENTS for a verdict (`pass`, `weak`, `dead`, `retry`; or a word of the seal or hiss check)."""
    if outcome in truth.must_not:
        return _false(truth, outcome)
    if outcome in truth.best:
        return RIGHT
    if outcome in truth.accepted:
        return ACCEPTED
    if truth.fault:
        return FAULT_JUDGED
    return REFUSED if outcome == "retry" else WRONG


def _false(truth: Truth, outcome: str) -> str:
    """What a verdict that must not be is called. A calm one is missed where something was to be found."""
    if outcome in ALARMS:
        return FALSE_ALARM
    if outcome in CALMS:
        return CALM if truth.best <= {"retry"} else MISSED
    return {"pass": FALSE_PASS, "dead": FALSE_DEAD}.get(outcome, WRONG)


def by_level(level_dbfs: float, frequency_hz: float, class_khz: int, apart: str | None = None) -> Truth:
    """Truth of a sensor that sends regularly, by its level, its frequency already known to be right."""
    if level_dbfs >= PASS_DBFS[class_khz]:
        words, must_not = said("pass"), said("dead")
    elif level_dbfs >= DEAD_DBFS:
        words, must_not = said("weak"), said("pass", "dead")
    else:
        words, must_not = said("dead"), said("pass")
    accepted = said("retry") if words == said("dead") else frozenset[str]()
    return Truth(
        words,
        accepted,
        must_not,
        sound=words == said("pass"),
        dead=words == said("dead"),
        apart=apart,
        level_dbfs=level_dbfs,
        frequency_hz=frequency_hz,
    )


SOUND_UNLESS_DROWNED_DB = 15.0
NOTHING_TRANSMITS = Truth(said("retry"), frozenset(), said("pass", "dead"), transmits=False)
DEAD = Truth(said("dead"), said("retry"), said("pass"), dead=True)
FAULTY_PROBE = Truth(said("retry"), fault=True)
