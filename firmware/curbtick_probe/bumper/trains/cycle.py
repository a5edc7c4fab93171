"""How often the system really fires: what the held train's interval alone does not tell."""

from micropython import const

from curbtick_probe.bumper.trains import gaps, like, quicker, silence, train
from curbtick_probe.bumper.trains.desk import OPEN_US, SHORTEST_US, SLACK_US, WHOLE_FROM_US, Desk, slack_us
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_probe.bumper.trains.train import HELD_LEAST, Train

# What the timing of the held sensor's bursts is: one beat, with misses or without; not one beat, but what is missing
# is known; not understood; one beat, but all were silent at the begin or the end.
STEADY = const(0)
UNEVEN = const(1)
UNKNOWN = const(2)
PART = const(3)

# Bursts that keep no beat are one sensor's from so many on.
_UNEVEN_LEAST = const(4)

# The longest part of its interval that holds all of a sensor's bursts is the system's, up to so many parts.
_PARTS_MOST = const(8)

# A contact is loose, and no system uneven, if one burst in so many may be missing.
_MISSING_PARTS = const(4)


class Cycle:
    """When the system fires.

    timing: one of the words above. interval_us: of the system. due: how many of the held sensor's bursts were due.
    """

    def __init__(self) -> None:
        self.tally = quicker.Tally()
        self.clear()

    def clear(self) -> None:
        """Forget the last reading."""
        self.timing = STEADY
        self.interval_us = 0
        self.due = 0

    def set(self, timing: int, interval_us: int, due: int) -> None:
        """Set all three."""
        self.timing = timing
        self.interval_us = interval_us
        self.due = due


def find(cycle: Cycle, held: Train, sounds: Sounds, room: Desk, listened_us: int) -> Cycle:
    """Find out how often the system fires, after train.find; sounds may have come since. Returns the cycle.

    The train takes in bursts of the held sensor that are off its beat.
    """
    cycle.set(STEADY, held.interval_us, held.due)
    room.mark(sounds)
    if held.count >= 2:
        train.find_again(held, sounds)
        n = like.gather(held, sounds, room)
        if n > held.count:
            _explain_off_beat(cycle, held, sounds, room, n, listened_us)
        else:
            _explain_beat(cycle, held, sounds, room, listened_us)
    return cycle


def find_uneven(cycle: Cycle, held: Train, sounds: Sounds, room: Desk, listened_us: int) -> Cycle:
    """Where no regular train was found, find bursts that are one sensor's by their likeness. Returns the cycle."""
    if held.count < HELD_LEAST:
        n = like.gather_most(sounds, room)
        if n >= _UNEVEN_LEAST:
            like.take(held, sounds, room, n)
            _explain_off_beat(cycle, held, sounds, room, n, listened_us)
    return cycle


def count_due(held: Train, step_us: int, listened_us: int) -> int:
    """Return how many of the held sensor's bursts are due at an interval."""
    first_us = held.first_us % step_us
    if first_us < WHOLE_FROM_US + SLACK_US:
        first_us += step_us
    end_us = max(listened_us - OPEN_US, held.last_us + SLACK_US)
    return max(held.count, (end_us - first_us) // step_us + 1)


def _explain_beat(cycle: Cycle, held: Train, sounds: Sounds, room: Desk, listened_us: int) -> None:
    """All bursts keep one beat: ask the siblings whether the system's is quicker."""
    m = gaps.fill(room.gaps_us, room.times_us, like.times(room.times_us, held.rows, held.count, sounds))
    if gaps.take_turns(room.gaps_us, m):
        _explain_turns(cycle, held, sounds, room)
        return
    part = quicker.ask(cycle.tally, held, sounds, room)
    if part < 0:
        cycle.timing = UNKNOWN
    elif part > 1:
        step_us = held.interval_us // part
        cycle.set(STEADY, step_us, count_due(held, step_us, listened_us))
    if cycle.due > held.count and silence.is_part(
        held, cycle.interval_us, cycle.due, sounds, room, listened_us
    ):
        cycle.timing = PART


def _explain_turns(cycle: Cycle, held: Train, sounds: Sounds, room: Desk) -> None:
    """Two gaps come in turn, one a multiple of the other: a loop that passes the sensor twice, or a loose contact.

    Siblings that keep the shorter gap tell that it is a contact, and others that it is none.
    """
    turn_us = room.gaps_us[0] + room.gaps_us[1]
    part = (turn_us + held.interval_us // 2) // held.interval_us
    said = quicker.say(cycle.tally, held, sounds, room, turn_us, part)
    if said == quicker.NO and (cycle.tally.alone or cycle.tally.taken):
        cycle.set(UNEVEN, turn_us // 2, held.count)
    elif said != quicker.SURE:
        cycle.timing = UNKNOWN


def _explain_off_beat(
    cycle: Cycle, held: Train, sounds: Sounds, room: Desk, n: int, listened_us: int
) -> None:
    """The held sensor's bursts, the first n of room.rows, do not keep one beat."""
    interval_us = held.interval_us
    like.times(room.times_us, room.rows, n, sounds)
    like.take(held, sounds, room, n)
    kept = gaps.drop_seconds(room.times_us, n)
    held.count = kept or n
    cycle.set(UNKNOWN, interval_us or SHORTEST_US, held.count)
    held.interval_us = cycle.interval_us
    if kept < HELD_LEAST:
        return
    held.first_us = room.times_us[0]
    held.last_us = room.times_us[kept - 1]
    m = gaps.fill(room.gaps_us, room.times_us, kept)
    cycle_us = gaps.shortest_us(room.gaps_us, m)
    step_us = _common_step_us(room, m, interval_us) if interval_us else 0
    if step_us and not gaps.has_one_cycle(room.gaps_us, m):
        cycle.set(STEADY if kept == n else UNEVEN, step_us, count_due(held, step_us, listened_us))
    elif kept >= _UNEVEN_LEAST and gaps.is_system(room.gaps_us, m):
        _count_uneven(cycle, held, room, m, cycle_us, listened_us)
    held.interval_us = cycle.interval_us


def _common_step_us(room: Desk, m: int, interval_us: int) -> int:
    """Return the longest part of an interval of which all m gaps are multiples; 0 for none."""
    for part in range(1, _PARTS_MOST + 1):
        step_us = interval_us // part
        if step_us >= SHORTEST_US and gaps.are_multiples(room.gaps_us, m, step_us, slack_us(interval_us)):
            return step_us
    return 0


def _count_uneven(cycle: Cycle, held: Train, room: Desk, m: int, cycle_us: int, listened_us: int) -> None:
    """Count what may be missing between bursts that keep no beat, and before and after them."""
    missing = gaps.missing(room.gaps_us, m, cycle_us)
    lead_us = held.first_us - WHOLE_FROM_US - SLACK_US
    tail_us = listened_us - OPEN_US - held.last_us
    edges = max(0, lead_us) // max(cycle_us, gaps.usual_us(room.gaps_us[0], cycle_us))
    edges += max(0, tail_us) // max(cycle_us, gaps.usual_us(room.gaps_us[m - 1], cycle_us))
    due = held.count + missing + edges
    interval_us = (held.last_us - held.first_us) // (m + missing)
    timing = UNEVEN if _MISSING_PARTS * (missing + edges) < due else UNKNOWN
    cycle.set(timing, interval_us, due)
