"""The best regular chain among timed events."""

import micropython
from micropython import const

# Words of the rules.
SHORTEST_US, LONGEST_US, SLACK_US, LEVEL_CDB, SPREAD_HZ, END_US, MISS_COST, BEGIN_US = range(8)
RULES_WORDS = const(8)

# Words of a chain.
SCORE, HITS, MISSES, FIRST_HIT_US, LAST_HIT_US, STEP_US = range(6)
CHAIN_WORDS = const(6)


@micropython.viper
def best_chain(
    t: ptr32, k: int, level: ptr32, hz: ptr32, weight: ptr32, rules: ptr32, count: int, chain: ptr32
):
    """Find the chain with the highest score, the first of them in the order of its seeds.

    Any two events that may be neighbours seed a chain: it is followed from the earlier one backwards and from the
    later one forwards, in steps of their distance that start anew from each hit. Its score is the sum of its hits'
    weights less the cost of each miss.
    t: `count` times, ascending. k: spare. level, hz, weight: of the same events; weight 0 leaves an event out. rules:
    RULES_WORDS words: interval at least, at most; slack of each step; largest difference of level and of frequency from
    the seed's event on that side; end of the time in which an event would have been heard; cost of a missing event;
    begin of that time. chain: CHAIN_WORDS words; SCORE is -1 where there is none that scores 0 or more.

    Q format: integers. Range: times 0..4e6, |level| < 2**15, |score| < count * 2**16. Headroom: as the range.
    """
    chain[0] = -1
    best = int(-1)
    slack = int(rules[2])
    end = int(rules[5])
    begin = int(rules[7])
    i = int(0)
    while i < count:
        j = i + 1
        if weight[i] == 0:
            j = int(count)
        while j < count:
            step = int(t[j]) - int(t[i])
            if step > int(rules[1]):
                break
            fits = int(0)
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
                    fits = int(1)
            if fits:
                score = weight[i] + weight[j]
                hits = int(2)
                misses = int(0)
                first = int(t[i])
                last = int(t[i])
                member = int(i)
                ahead = int(-1)
                ways = int(2)
                while ways:
                    base_level = ((level[member] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
                    base_hz = int(hz[member])
                    k = int(member)
                    due = int(t[k]) + step * ahead
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
                                    last = due
                                    score += weight[k]
                                    hits += 1
                                    break
                        if hit == 0:
                            score -= rules[6]
                            misses += 1
                        due += step * ahead
                    if ways == 2:
                        first = last
                        last = int(t[j])
                        member = int(j)
                        ahead = int(1)
                    ways -= 1
                if score > best:
                    best = score
                    chain[0] = score
                    chain[1] = hits
                    chain[2] = misses
                    chain[3] = first
                    chain[4] = last
                    chain[5] = step
            j += 1
        i += 1


@micropython.viper
def comes_again(
    t: ptr32, n: int, hz: ptr32, count: int, k: int, interval: int, slack: int, spread: int
) -> int:
    """Tell whether an event of k's frequency, within `spread`, lies an interval before or after k; 1 or 0.

    t, hz: of `count` events. n: spare.

    Q format: integers. Range: times 0..4e6. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        apart = int(t[n]) - int(t[k])
        if apart < 0:
            apart = 0 - apart
        apart -= interval
        off = int(hz[n]) - int(hz[k])
        if off < 0:
            off = 0 - off
        if apart <= slack and apart >= 0 - slack and off <= spread:
            return 1
        n += 1
    return 0


@micropython.viper
def repeats(
    t: ptr32,
    n: int,
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

    t, evidence, length: of `count` events. n: spare. least: of evidence; longest: of length.

    Q format: integers. Range: times 0..4e6, |evidence| < 2**15. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        apart = int(t[n]) - int(t[k])
        if apart < 0:
            apart = 0 - apart
        if apart > interval >> 1:
            slip = apart % interval
            if slip > interval - slip:
                slip = interval - slip
            if slip <= slack:
                clear = ((evidence[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
                if clear >= least and length[n] <= longest:
                    return 1
        n += 1
    return 0
