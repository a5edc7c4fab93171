"""The times between one sensor's bursts: what may be missing between them, and which orders no loose contact gives."""

from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper.trains.desk import SHORTEST_US, slack_us

# A system's own cycle may change within a reading, with what it has in sight, by less than this; a cycle that is left
# out makes a gap twice as long.
_LONG_PARTS = const(7)
_NEAR_PARTS = const(4)

# A system that dithers its bursts, so that others' are not taken for its own, puts each off by up to 8 ms.
_DITHER_US = const(17000)

# Two bursts of one slot come this alike apart, and all but one in so many has a second.
_SECOND_SLACK_US = const(500)
_SECONDS_LEAST = const(4)

# An order of gaps shows from so many on.
_ORDER_LEAST = const(4)


def fill(gaps_us: Ints, times_us: Ints, n: int) -> int:
    """Set the gaps between n times in order; return how many there are."""
    for i in range(n - 1):
        gaps_us[i] = times_us[i + 1] - times_us[i]
    return max(0, n - 1)


def drop_seconds(times_us: Ints, n: int) -> int:
    """Keep of n times the first of each slot, where each slot has two bursts, always as far apart; return how many.

    0 where some come too soon after another and are no such seconds.
    """
    kept = 0
    seconds = 0
    apart_us = 0
    for i in range(n):
        late_us = times_us[i] - times_us[kept - 1] if kept else SHORTEST_US
        if late_us >= SHORTEST_US:
            times_us[kept] = times_us[i]
            kept += 1
        elif seconds and abs(late_us - apart_us) > _SECOND_SLACK_US:
            return 0
        else:
            apart_us = late_us
            seconds += 1
    if seconds and _SECONDS_LEAST * (kept - seconds) > kept + _SECONDS_LEAST:
        return 0
    return kept


def shortest_us(gaps_us: Ints, m: int) -> int:
    """Return the shortest of m gaps."""
    least_us = gaps_us[0]
    for i in range(m):
        least_us = min(least_us, gaps_us[i])
    return least_us


def is_long(gap_us: int, cycle_us: int) -> bool:
    """Tell whether a gap may hold more than one cycle, the shortest known one being given."""
    return _NEAR_PARTS * gap_us > _LONG_PARTS * cycle_us


def missing_in(gap_us: int, cycle_us: int) -> int:
    """Return the most bursts that may be missing in a gap."""
    if not is_long(gap_us, cycle_us):
        return 0
    return (gap_us + cycle_us // _NEAR_PARTS) // cycle_us - 1


def missing(gaps_us: Ints, m: int, cycle_us: int) -> int:
    """Return the most bursts that may be missing within m gaps."""
    n = 0
    for i in range(m):
        n += missing_in(gaps_us[i], cycle_us)
    return n


def usual_us(gap_us: int, cycle_us: int) -> int:
    """Return a gap where it holds one cycle, else the shortest cycle known."""
    return cycle_us if is_long(gap_us, cycle_us) else gap_us


def are_multiples(gaps_us: Ints, m: int, step_us: int, slack: int) -> bool:
    """Tell whether all of m gaps are multiples of a step, to within a slack."""
    for i in range(m):
        late_us = gaps_us[i] % step_us
        if min(late_us, step_us - late_us) > slack:
            return False
    return True


def is_system(gaps_us: Ints, m: int) -> bool:
    """Tell whether m gaps are in an order that a system has.

    The cycle is dithered about one length; or the system pauses once; or the cycle changes one way, as what is in
    sight comes nearer or goes; or a loop passes the sensor twice, so that two gaps come in turn.
    """
    low_us = shortest_us(gaps_us, m)
    high_us = 0
    longest_us = 0
    for i in range(m):
        if gaps_us[i] > longest_us:
            high_us = longest_us
            longest_us = gaps_us[i]
        else:
            high_us = max(high_us, gaps_us[i])
    if longest_us - low_us <= _DITHER_US or _same(high_us, low_us):
        return True
    if is_long(longest_us, low_us):
        return False
    return changes_one_way(gaps_us, m) or take_turns(gaps_us, m)


def changes_one_way(gaps_us: Ints, m: int) -> bool:
    """Tell whether no gap is shorter than the one before it, or none longer."""
    rises = 0
    falls = 0
    for i in range(m - 1):
        if not _same(gaps_us[i], gaps_us[i + 1]):
            rises += gaps_us[i + 1] > gaps_us[i]
            falls += gaps_us[i + 1] < gaps_us[i]
    return not rises or not falls


def take_turns(gaps_us: Ints, m: int) -> bool:
    """Tell whether two different gaps follow each other in turn, as in a loop that passes a sensor twice."""
    if m < _ORDER_LEAST or _same(gaps_us[0], gaps_us[1]):
        return False
    for i in range(m - 2):
        if not _same(gaps_us[i], gaps_us[i + 2]):
            return False
    return True


def change_once(gaps_us: Ints, m: int) -> bool:
    """Tell whether all gaps are alike but for one change among them, after which they stay."""
    changes = 0
    for i in range(m - 1):
        if not _same(gaps_us[i], gaps_us[i + 1]):
            changes += 1
    return changes <= 1


def has_one_cycle(gaps_us: Ints, m: int) -> bool:
    """Tell whether m gaps hold one cycle each: two in turn, or such that change once."""
    if missing(gaps_us, m, shortest_us(gaps_us, m)):
        return False
    return take_turns(gaps_us, m) or change_once(gaps_us, m)


def _same(gap_us: int, other_us: int) -> bool:
    return abs(gap_us - other_us) <= 2 * slack_us(max(gap_us, other_us))
