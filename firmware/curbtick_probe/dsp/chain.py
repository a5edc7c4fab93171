"""The best regular chain among timed events."""

import micropython
from micropython import const

# Words of the rules.
SHORTEST_US, LONGEST_US, SLACK_US, LEVEL_CDB, SPREAD_HZ, END_US, MISS_COST, BEGIN_US = range(8)
RULES_WORDS = const(8)

# Words of a tally.
SCORE, HITS, MISSES, LAST_HIT_US, STEP_US, MEMBER = range(6)
TALLY_WORDS = const(6)


@micropython.viper
def walk(t: ptr32, k: int, due: int, level: ptr32, hz: ptr32, weight: ptr32, rules: ptr32, count: int, tally: ptr32):
    """Follow a chain from its member `tally[5]` in steps of tally[4] us (negative: backwards), adding up.

    t: `count` times, ascending. level, hz, weight: of the same events; weight 0 leaves an event out. k, due: spare.
    rules: RULES_WORDS words: interval at least, at most; slack of each step; largest difference of level and of
    frequency from the member's; end of the time in which an event would have been
    heard; cost of a missing event; begin of that time. tally: TALLY_WORDS words.

    Q format: integers. Range: times 0..4e6, |level| < 2**15, score < count * 2**16. Headroom: as the range.
    """
    step = ((tally[4] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    k = tally[5]
    base_level = ((level[k] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    base_hz = int(hz[k])
    due = int(t[k]) + step
    slack = int(rules[2])
    ahead = int(1)
    if step < 0:
        ahead = int(-1)
    end = int(rules[5])
    begin = int(rules[7])
    while due > begin and due < end:
        hit = int(0)
        while k + ahead >= 0 and k + ahead < count:
            late = (int(t[k + ahead]) - due) * ahead
            if late > slack:
                break
            k += ahead
            if late >= 0 - slack and weight[k]:
                d = (((level[k] + 0x20000000) & 0x3FFFFFFF) - 0x20000000) - base_level
                f = int(hz[k]) - base_hz
                if d < 0:
                    d = 0 - d
                if f < 0:
                    f = 0 - f
                if d <= int(rules[3]) and f <= int(rules[4]):
                    hit = int(1)
                    due = int(t[k])
                    tally[0] = tally[0] + weight[k]
                    tally[1] = tally[1] + 1
                    tally[3] = due
                    break
        if hit == 0:
            tally[0] = tally[0] - rules[6]
            tally[2] = tally[2] + 1
        due += step
    return None


@micropython.viper
def next_pair(t: ptr32, i: int, j: int, level: ptr32, hz: ptr32, weight: ptr32, rules: ptr32, count: int, pair: ptr32):
    """Move `pair` on to the next two events that could be neighbours of one chain; pair[0] = count where none is left.

    As `walk`; i, j: spare. pair: [earlier, later] event, later > earlier.

    Q format: integers. Range: as walk. Headroom: as walk.
    """
    i = int(pair[0])
    j = int(pair[1]) + 1
    while i < count:
        if weight[i] == 0:
            j = int(count)
        while j < count:
            step = int(t[j]) - int(t[i])
            if step > int(rules[1]):
                break
            if step >= int(rules[0]) and weight[j]:
                d = (((level[i] + 0x20000000) & 0x3FFFFFFF) - 0x20000000) - (
                    ((level[j] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
                )
                f = int(hz[i]) - int(hz[j])
                if d < 0:
                    d = 0 - d
                if f < 0:
                    f = 0 - f
                if d <= int(rules[3]) and f <= int(rules[4]):
                    pair[0] = i
                    pair[1] = j
                    return None
            j += 1
        i += 1
        j = i + 1
    pair[0] = count
    return None
