"""The best regular chain among timed events."""

import micropython
from micropython import const

# Words of the rules.
SHORTEST_US = const(0)
LONGEST_US = const(1)
SLACK_US = const(2)
LEVEL_CDB = const(3)
SPREAD_HZ = const(4)
END_US = const(5)
MISS_COST = const(6)
BEGIN_US = const(7)
RULES_WORDS = const(8)

# Words of a chain.
SCORE = const(0)
HITS = const(1)
MISSES = const(2)
FIRST_HIT_US = const(3)
LAST_HIT_US = const(4)
STEP_US = const(5)
CHAIN_WORDS = const(6)

# The slack grows with the step by one part in so many.
_SLACK_PARTS = const(400)

# The score of no chain.
_NONE = const(-1)

# A word of 64 bits loads ptr32 without its sign: adding half, masking and taking half off gives a number of 30
# bits its sign back.
_SIGN_HALF = const(0x20000000)
_SIGN_MASK = const(0x3FFFFFFF)


@micropython.viper
def best_chain(
    t: ptr32, k: int, level: ptr32, hz: ptr32, weight: ptr32, rules: ptr32, count: int, chain: ptr32
):
    """Find the chain with the highest score, the first of them in the order of its seeds.

    Any two events that may be neighbours seed a chain: it is followed from the earlier one backwards and from the
    later one forwards, in steps of their distance that start anew from each hit. Its score is the sum of its hits'
    weights less the cost of each miss.
    t: `count` times, ascending. k: spare. level, hz, weight: of the same events; weight 0 leaves an event out. rules:
    RULES_WORDS words: interval at least, at most; slack of each step, with one part in 400 of it more; largest
    difference of level and of frequency from the seed's event on that side; end of the time in which an event would
    have been heard; cost of a missing event; begin of that time. chain: CHAIN_WORDS words; SCORE is -1 where there
    is none that scores 0 or more.

    Q format: integers. Range: times 0..4e6, |level| < 2**15, |score| < count * 2**16. Headroom: as the range.
    """
    chain[SCORE] = _NONE
    best = int(_NONE)
    end = rules[END_US]
    begin = rules[BEGIN_US]
    i = int(0)
    while i < count:
        j = i + 1
        if weight[i] == 0:
            j = int(count)
        while j < count:
            step = t[j] - t[i]
            if step > rules[LONGEST_US]:
                break
            fits = int(0)
            if step >= rules[SHORTEST_US] and weight[j]:
                d = ((level[i] - level[j] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
                f = hz[i] - hz[j]
                if d < 0:
                    d = -d
                if f < 0:
                    f = -f
                if d <= rules[LEVEL_CDB] and f <= rules[SPREAD_HZ]:
                    fits = int(1)
            if fits:
                slack = rules[SLACK_US] + step // _SLACK_PARTS
                score = weight[i] + weight[j]
                hits = int(2)
                misses = int(0)
                first = t[i]
                last = t[i]
                member = int(i)
                ahead = int(-1)
                ways = int(2)
                while ways:
                    base_level = int(level[member])
                    base_hz = hz[member]
                    k = int(member)
                    due = t[k] + step * ahead
                    while due > begin and due < end:
                        hit = int(0)
                        while k + ahead >= 0 and k + ahead < count:
                            late = (t[k + ahead] - due) * ahead
                            if late > slack:
                                break
                            k += ahead
                            if late >= -slack and weight[k]:
                                d = ((level[k] - base_level + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
                                f = hz[k] - base_hz
                                if d < 0:
                                    d = -d
                                if f < 0:
                                    f = -f
                                if d <= rules[LEVEL_CDB] and f <= rules[SPREAD_HZ]:
                                    hit = int(1)
                                    due = t[k]
                                    last = due
                                    score += weight[k]
                                    hits += 1
                                    break
                        if hit == 0:
                            score -= rules[MISS_COST]
                            misses += 1
                        due += step * ahead
                    if ways == 2:
                        first = last
                        last = t[j]
                        member = int(j)
                        ahead = int(1)
                    ways -= 1
                if score > best:
                    best = score
                    chain[SCORE] = score
                    chain[HITS] = hits
                    chain[MISSES] = misses
                    chain[FIRST_HIT_US] = first
                    chain[LAST_HIT_US] = last
                    chain[STEP_US] = step
            j += 1
        i += 1


@micropython.viper
def comes_again(t: ptr32, hz: ptr32, count: int, k: int, interval: int, slack: int, spread: int) -> int:
    """Tell whether an event of k's frequency, within `spread`, lies an interval before or after k; 1 or 0.

    t, hz: of `count` events.

    Q format: integers. Range: times 0..4e6. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        apart = t[n] - t[k]
        if apart < 0:
            apart = -apart
        apart -= interval
        off = hz[n] - hz[k]
        if off < 0:
            off = -off
        if apart <= slack and apart >= -slack and off <= spread:
            return 1
        n += 1
    return 0


@micropython.viper
def repeats(
    t: ptr32,
    evidence: ptr32,
    length: ptr32,
    count: int,
    k: int,
    interval: int,
    slack: int,
    least: int,
    longest: int,
) -> int:
    """Tell whether a clear, short event lies some intervals before or after event k; 1 or 0.

    t, evidence, length: of `count` events. least: of evidence; longest: of length.

    Q format: integers. Range: times 0..4e6, |evidence| < 2**15. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        apart = t[n] - t[k]
        if apart < 0:
            apart = -apart
        if apart > interval >> 1:
            slip = apart % interval
            if slip > interval - slip:
                slip = interval - slip
            if slip <= slack:
                clear = ((evidence[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
                if clear >= least and length[n] <= longest:
                    return 1
        n += 1
    return 0
