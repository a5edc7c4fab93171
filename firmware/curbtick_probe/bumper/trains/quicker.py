"""Whether the siblings tell of a quicker cycle than the held sensor's bursts do: then it leaves bursts out."""

from curbtick_wire import names
from micropython import const

from curbtick_probe.bumper.trains.desk import PROOF_CLEAR_CDB, SHORTEST_US, Desk, slack_us
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.bumper.trains.train import Train
from curbtick_probe.dsp.train import beats, columns

# What comes this soon after a burst may be its echo.
ECHO_US = const(26000)

# What the siblings say.
NO = const(0)
MAYBE = const(1)
SURE = const(2)

# A sibling tells for sure from this much evidence on. At 15 dB noise changes the evidence by 1.1 dB, so that the means
# of n bursts of one sensor differ by less than 3.1 dB over sqrt(n), twice their standard deviation; and nearly always
# by less than one and a half times that.
_FIRM_CDB = const(1750)
_TWICE_SQUARED = const(96100)
_TWICE_MOST_CDB = const(310)
_THRICE_SQUARED = const(216225)
_THRICE_MOST_CDB = const(465)

# For sure: at most one clear sibling in so many has no companion. Perhaps: half of them have one.
_ALONE_PARTS = const(4)

# Parts of the interval that are asked about.
_PARTS_MOST = const(3)


class Tally:
    """What the clear siblings of one question say.

    again: how many come again like themselves after each step. nearly: how many nearly so. alone: how many do not.
    different: how many phases within a step those have that come again. apart: the same of those that nearly do.
    taken: at how many steps sounds come where the held sensor would be due. firm: none of them is faint.
    """

    def __init__(self) -> None:
        self.clear()

    def clear(self) -> None:
        """Forget the last question."""
        self.again = 0
        self.nearly = 0
        self.alone = 0
        self.different = 0
        self.taken = 0
        self.firm = True


def ask(tally: Tally, held: Train, sounds: Sounds, room: Desk) -> int:
    """Return into how many parts the siblings divide the held train's interval, less for MAYBE; 1 for NO."""
    for part in range(2, _PARTS_MOST + 1):
        if held.interval_us // part >= SHORTEST_US:
            said = say(tally, held, sounds, room, held.interval_us, part)
            if said == SURE:
                return part
            if said == MAYBE:
                return -part
    return 1


def say(tally: Tally, held: Train, sounds: Sounds, room: Desk, interval_us: int, part: int) -> int:
    """Return what the siblings say of a cycle that is a part of an interval at which the held sensor repeats.

    Siblings that fire in turn can look like one that fires more often. So they must come again after the shorter cycle
    with the same evidence, none may lie where the held sensor would be due, and there must be two of
    them, or one that comes three times within the interval. Less than that is a doubt.
    """
    tally.clear()
    room.take_phases(sounds, held.first_us, interval_us)
    _choose(held, sounds, room, interval_us)
    for m in range(1, part):
        _weigh_beat(sounds, room, room.beat, m * (interval_us // part), interval_us)
        tally.taken += room.beat[beats.HITS] >= 2
    for row in range(sounds.count):
        if room.weight[row]:
            _count(tally, sounds, room, row, interval_us, part)
    return _weigh_up(tally, part)


def _weigh_up(tally: Tally, part: int) -> int:
    """Weigh a tally: all but a few like themselves are sure, half of them a doubt.

    One phase alone is the two neighbours of a sensor more often than not, half a cycle apart and as loud as each other:
    a doubt only where most are like themselves and nothing lies where the held sensor would be due.
    """
    alike = tally.again + tally.nearly
    unlike = tally.alone + tally.nearly
    several = tally.different >= 2 or part > 2
    if not alike or tally.taken:
        return NO
    if not several:
        return MAYBE if 2 * unlike < tally.again else NO
    if tally.firm and _ALONE_PARTS * unlike <= tally.again:
        return SURE
    return MAYBE if 2 * tally.alone <= alike else NO


def _choose(held: Train, sounds: Sounds, room: Desk, interval_us: int) -> None:
    """Leave in room.weight, not 0, which sounds may be siblings that repeat with the interval."""
    asked = columns.SIBLING | columns.SHORT
    before_us = interval_us - 2 * slack_us(interval_us)
    beats.choose(room.phase_us, room.flags, room.weight, sounds.count, asked, ECHO_US, before_us)
    for row in range(sounds.count):
        if sounds.kind[row] == names.HELD:
            room.weight[row] = beats.NOT_KEPT


def _count(tally: Tally, sounds: Sounds, room: Desk, row: int, interval_us: int, part: int) -> None:
    """Count one sibling's sound. What comes only once is nobody's train, and tells nothing."""
    phase_us = room.phase_us[row]
    _weigh_beat(sounds, room, room.beat, phase_us, interval_us)
    if room.beat[beats.HITS] < 2 or room.beat[beats.EVIDENCE_CDB] < PROOF_CLEAR_CDB:
        return
    if room.beat[beats.EVIDENCE_CDB] < _FIRM_CDB:
        tally.firm = False
    step_us = interval_us // part
    late_us = phase_us % step_us
    if min(late_us, step_us - late_us) <= 2 * slack_us(interval_us):
        return
    like = _likeness(sounds, room, phase_us, interval_us, part)
    if like == SURE:
        tally.again += 1
    elif like == MAYBE:
        tally.nearly += 1
    else:
        tally.alone += 1
        return
    tally.different = _add_phase(room, late_us, step_us, tally.different)


def _likeness(sounds: Sounds, room: Desk, phase_us: int, interval_us: int, part: int) -> int:
    """Tell whether a sibling has a companion like itself on every step of the interval."""
    like = SURE
    for m in range(1, part):
        beat_us = (phase_us + m * (interval_us // part)) % interval_us
        _weigh_beat(sounds, room, room.other_beat, beat_us, interval_us)
        if not beats.are_alike(room.beat, room.other_beat, _THRICE_SQUARED, _THRICE_MOST_CDB):
            return NO
        if not beats.are_alike(room.beat, room.other_beat, _TWICE_SQUARED, _TWICE_MOST_CDB):
            like = MAYBE
    return like


def _weigh_beat(sounds: Sounds, room: Desk, beat: object, beat_us: int, interval_us: int) -> None:
    beats.on_beat(
        sounds.time_us,
        room.phase_us,
        sounds.evidence_cdb,
        sounds.frequency_hz,
        sounds.kind,
        beat,
        sounds.count,
        names.HELD,
        beat_us,
        interval_us,
        slack_us(interval_us),
    )


def _add_phase(room: Desk, phase_us: int, step_us: int, n: int) -> int:
    """Note a phase among the first n of room.values if it is a new one; return how many there are."""
    for i in range(n):
        apart_us = abs(room.values[i] - phase_us)
        if min(apart_us, step_us - apart_us) <= 2 * slack_us(step_us):
            return n
    room.values[n] = phase_us
    return n + 1
