"""Loops over the columns of one reading's sounds."""

import micropython
from micropython import const

# Bits of a sound's flags: it began within the reading and its level, sweep and length are trustworthy; is as short as a
# burst; is as pure; has evidence enough as a sibling, as one heard singly, and as part of a proof.
CLEAR = const(1)
SHORT = const(2)
PURE = const(4)
SIBLING = const(8)
SINGLE = const(16)
PROOF = const(32)

# What may be a sensor's burst; and what may be one of the held train's, of which noise may have garbled the sweep.
BURST = const(CLEAR | SHORT | PURE)
MEMBER = const(CLEAR | SHORT)

# Words of the marks: what the bits ask.
WHOLE_FROM_US, CLEAR_CDB, SHORTEST_US, LONGEST_US, SWEEP_MOST_HZ, SIBLING_CDB, SINGLE_CDB, PROOF_CDB = range(
    8
)
MARKS_WORDS = const(8)

# Words of a likeness: a level, a frequency, and how far off both may be.
LEVEL, HZ, LEVEL_SPREAD, HZ_SPREAD = range(4)
LIKE_WORDS = const(4)


@micropython.viper
def weakest(x: ptr32, least: int, count: int) -> int:
    """Return the place of the least value, the first of equals.

    x: `count` values of at least one. least: spare.

    Q format: integers. Range: |value| < 2**29. Headroom: as the range.
    """
    at = int(0)
    least = ((x[0] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    n = int(1)
    while n < count:
        v = ((x[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
        if v < least:
            least = v
            at = n
        n += 1
    return at


@micropython.viper
def move(x: ptr32, n: int, source: int, target: int):
    """Take the word at `source` out, close the gap, and put it in at `target`.

    x: a column that holds both places. n: spare.

    Q format: words. Range: any. Headroom: words are not computed with.
    """
    kept = x[source]
    n = source
    while n < target:
        x[n] = x[n + 1]
        n += 1
    while n > target:
        x[n] = x[n - 1]
        n -= 1
    x[target] = kept


@micropython.viper
def mark(
    t: ptr32, n: int, evidence: ptr32, length: ptr32, sweep: ptr32, marks: ptr32, flags: ptr32, count: int
):
    """Set the flags of sounds.

    t, evidence, length, sweep: columns of `count` sounds. n: spare. marks: MARKS_WORDS words. flags: `count` words.

    Q format: integers. Range: times 0..4e6, |others| < 2**29. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        e = ((evidence[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
        s = ((sweep[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
        if s < 0:
            s = 0 - s
        flag = int(0)
        if e >= int(marks[1]) and int(t[n]) >= int(marks[0]):
            flag = int(CLEAR)
        if int(length[n]) <= int(marks[3]):
            flag |= SHORT
            if int(length[n]) >= int(marks[2]) and s <= int(marks[4]):
                flag |= PURE
        if e >= int(marks[5]):
            flag |= SIBLING
        if e >= int(marks[6]):
            flag |= SINGLE
        if e >= int(marks[7]):
            flag |= PROOF
        flags[n] = flag
        n += 1


@micropython.viper
def weigh(
    level: ptr32, n: int, flags: ptr32, weight: ptr32, count: int, asked: int, least: int, hit: int
) -> int:
    """Give sounds that have all the flags asked and at least a level a weight, the others 0; return how many have it.

    level, flags, weight: of `count` sounds. n: spare.

    Q format: integers. Range: |level|, |least| < 2**29, weight any. Headroom: as the range.
    """
    weighed = int(0)
    n = int(0)
    while n < count:
        v = ((level[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
        weight[n] = 0
        if v >= least and int(flags[n]) & asked == asked:
            weight[n] = hit
            weighed += 1
        n += 1
    return weighed


@micropython.viper
def phases(t: ptr32, n: int, out: ptr32, count: int, first: int, interval: int):
    """Set how long after a beat of an interval each time is: 0 to interval - 1; a beat is at `first`.

    t, out: `count` words. n: spare.

    Q format: integers. Range: times and first 0..4e6, interval 1..4e6. Headroom: sums below 2**24.
    """
    n = int(0)
    while n < count:
        out[n] = (int(t[n]) - first) % interval
        n += 1


@micropython.viper
def like_off_beat(
    phase: ptr32,
    n: int,
    level: ptr32,
    hz: ptr32,
    flags: ptr32,
    like: ptr32,
    count: int,
    asked: int,
    step: int,
    slack: int,
) -> int:
    """Count the sounds with all the flags asked that are like one thing but more than `slack` off the beat of a step.

    phase: from `phases`, of an interval that is a multiple of the step. level, hz, flags: of the same sounds. n: spare.
    like: LIKE_WORDS words.

    Q format: integers. Range: phases and frequencies 0..4e6, |level| < 2**28. Headroom: differences below 2**29.
    """
    around = ((like[0] + 0x20000000) & 0x3FFFFFFF) - 0x20000000
    off = int(0)
    n = int(0)
    while n < count:
        if int(flags[n]) & asked == asked:
            d = ((level[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000 - around
            f = int(hz[n]) - int(like[1])
            if d < 0:
                d = 0 - d
            if f < 0:
                f = 0 - f
            slip = int(phase[n]) % step
            if slip > step - slip:
                slip = step - slip
            if d <= int(like[2]) and f <= int(like[3]) and slip > slack:
                off += 1
        n += 1
    return off


@micropython.viper
def count_loud(
    level: ptr32, n: int, flags: ptr32, kind: ptr32, count: int, asked: int, above: int, but: int
) -> int:
    """Count the sounds that have all the flags asked, are above a level and not of one kind.

    level, flags, kind: of `count` sounds. n: spare.

    Q format: integers. Range: |level|, |above| < 2**29. Headroom: as the range.
    """
    loud = int(0)
    n = int(0)
    while n < count:
        if int(flags[n]) & asked == asked and int(kind[n]) != but:
            if ((level[n] + 0x20000000) & 0x3FFFFFFF) - 0x20000000 > above:
                loud += 1
        n += 1
    return loud


@micropython.viper
def choose(phase: ptr32, n: int, flags: ptr32, kept: ptr32, count: int, asked: int, after: int, before: int):
    """Set `kept` to 2 for the sounds that have all the flags asked and a phase between two, to 0 for the others.

    phase, flags, kept: of `count` sounds. n: spare.

    Q format: integers. Range: phases 0..4e6. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        kept[n] = 0
        if int(flags[n]) & asked == asked and int(phase[n]) > after and int(phase[n]) < before:
            kept[n] = 2
        n += 1


@micropython.viper
def on_beats(
    phase: ptr32,
    n: int,
    evidence: ptr32,
    kept: ptr32,
    hits: ptr32,
    means: ptr32,
    count: int,
    after: int,
    interval: int,
    slack: int,
):
    """For each kept sound, count the sounds on the beat that comes `after` its own, and take their mean evidence.

    phase: from `phases`, of the interval; evidence, kept: of the same `count` sounds. n: spare. hits, means: `count`
    words, left alone where `kept` is 0; the mean is rounded down, 0 for none. after: 0 to interval - 1. slack: how far
    off a beat a sound may be.

    Q format: integers. Range: phases, interval 0..2**21, |evidence| < 2**15, count to 64. Headroom: sums below 2**22.
    """
    i = int(0)
    while i < count:
        if kept[i]:
            beat = int(phase[i]) + after
            if beat >= interval:
                beat -= interval
            many = int(0)
            total = int(0)
            n = int(0)
            while n < count:
                slip = int(phase[n]) - beat
                if slip < 0:
                    slip = 0 - slip
                if slip <= slack or interval - slip <= slack:
                    many += 1
                    # Offset, so that the sum and its quotient have no sign.
                    total += (evidence[n] + 0x8000) & 0x1FFFF
                n += 1
            hits[i] = many
            means[i] = 0
            if many:
                means[i] = total // many - 0x8000
        i += 1


@micropython.viper
def keep_alike(
    hits: ptr32,
    n: int,
    means: ptr32,
    others: ptr32,
    their_means: ptr32,
    kept: ptr32,
    count: int,
    most: int,
    squared: int,
):
    """Set to 1 the words of `kept` that are not 0 and whose sound has no companion as loud on average.

    hits, means, others, their_means: on_beats of the sound's own beat and of another. n: spare. Companions are two at
    least; their means differ by at most `most`, and squared, times the fewer of both, by at most `squared`.

    Q format: integers. Range: |means| < 2**15, most < 2**12, count at most 64. Headroom: the product below 2**30.
    """
    n = int(0)
    while n < count:
        if kept[n]:
            fewer = int(hits[n])
            if int(others[n]) < fewer:
                fewer = int(others[n])
            d = ((means[n] + 0x20000000) & 0x3FFFFFFF) - ((their_means[n] + 0x20000000) & 0x3FFFFFFF)
            if d < 0:
                d = 0 - d
            if fewer < 2 or d > most:
                kept[n] = 1
            elif d * d * fewer > squared:
                kept[n] = 1
        n += 1
