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
WHOLE_FROM_US = const(0)
CLEAR_CDB = const(1)
SHORTEST_US = const(2)
LONGEST_US = const(3)
SWEEP_MOST_HZ = const(4)
SIBLING_CDB = const(5)
SINGLE_CDB = const(6)
PROOF_CDB = const(7)

# Words of a likeness: a level, a frequency, and how far off both may be.
LEVEL = const(0)
HZ = const(1)
LEVEL_SPREAD = const(2)
HZ_SPREAD = const(3)
LIKE_WORDS = const(4)

# What a sound is to its siblings, in `kept`: not asked about; one that nothing is as loud as; one like a companion.
NOT_KEPT = const(0)
ALONE = const(1)
ALIKE = const(2)

# A companion is one from two sounds on.
_COMPANIONS = const(2)

# Evidence made positive, so that a sum and its quotient have no sign.
_EVIDENCE_ZERO = const(0x8000)
_EVIDENCE_MASK = const(0x1FFFF)

# A word of 64 bits loads ptr32 without its sign: adding half, masking and taking half off gives a number of 30
# bits its sign back.
_SIGN_HALF = const(0x20000000)
_SIGN_MASK = const(0x3FFFFFFF)


@micropython.viper
def weakest(x: ptr32, count: int) -> int:
    """Return the place of the least value, the first of equals.

    x: `count` values of at least one.

    Q format: integers. Range: |value| < 2**29. Headroom: as the range.
    """
    at = int(0)
    least = ((x[0] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
    n = int(1)
    while n < count:
        v = ((x[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        if v < least:
            least = v
            at = n
        n += 1
    return at


@micropython.viper
def move(x: ptr32, source: int, target: int):
    """Take the word at `source` out, close the gap, and put it in at `target`.

    x: a column that holds both places.

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
def mark(t: ptr32, evidence: ptr32, length: ptr32, sweep: ptr32, marks: ptr32, flags: ptr32, count: int):
    """Set the flags of sounds.

    t, evidence, length, sweep: columns of `count` sounds. marks: eight words. flags: `count` words.

    Q format: integers. Range: times 0..4e6, |others| < 2**29. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        e = ((evidence[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        s = ((sweep[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        if s < 0:
            s = -s
        flag = int(0)
        if e >= marks[CLEAR_CDB] and t[n] >= marks[WHOLE_FROM_US]:
            flag = int(CLEAR)
        if length[n] <= marks[LONGEST_US]:
            flag |= SHORT
            if length[n] >= marks[SHORTEST_US] and s <= marks[SWEEP_MOST_HZ]:
                flag |= PURE
        if e >= marks[SIBLING_CDB]:
            flag |= SIBLING
        if e >= marks[SINGLE_CDB]:
            flag |= SINGLE
        if e >= marks[PROOF_CDB]:
            flag |= PROOF
        flags[n] = flag
        n += 1


@micropython.viper
def weigh(level: ptr32, flags: ptr32, weight: ptr32, count: int, asked: int, least: int, hit: int) -> int:
    """Give sounds that have all the flags asked and at least a level a weight, the others 0; return how many have it.

    level, flags, weight: of `count` sounds.

    Q format: integers. Range: |level|, |least| < 2**29, weight any. Headroom: as the range.
    """
    weighed = int(0)
    n = int(0)
    while n < count:
        v = ((level[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        weight[n] = 0
        if v >= least and flags[n] & asked == asked:
            weight[n] = hit
            weighed += 1
        n += 1
    return weighed


@micropython.viper
def phases(t: ptr32, out: ptr32, count: int, first: int, interval: int):
    """Set how long after a beat of an interval each time is: 0 to interval - 1; a beat is at `first`.

    t, out: `count` words.

    Q format: integers. Range: times and first 0..4e6, interval 1..4e6. Headroom: sums below 2**24.
    """
    n = int(0)
    while n < count:
        out[n] = (t[n] - first) % interval
        n += 1


@micropython.viper
def like_off_beat(
    phase: ptr32,
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

    phase: from `phases`, of an interval that is a multiple of the step. level, hz, flags: of the same sounds.
    like: LIKE_WORDS words.

    Q format: integers. Range: phases and frequencies 0..4e6, |level| < 2**28. Headroom: differences below 2**29.
    """
    off = int(0)
    n = int(0)
    while n < count:
        if flags[n] & asked == asked:
            d = ((level[n] - like[LEVEL] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
            f = hz[n] - like[HZ]
            if d < 0:
                d = -d
            if f < 0:
                f = -f
            slip = phase[n] % step
            if slip > step - slip:
                slip = step - slip
            if d <= like[LEVEL_SPREAD] and f <= like[HZ_SPREAD] and slip > slack:
                off += 1
        n += 1
    return off


@micropython.viper
def count_loud(level: ptr32, flags: ptr32, kind: ptr32, count: int, asked: int, above: int, but: int) -> int:
    """Count the sounds that have all the flags asked, are above a level and not of one kind.

    level, flags, kind: of `count` sounds.

    Q format: integers. Range: |level|, |above| < 2**29. Headroom: as the range.
    """
    loud = int(0)
    n = int(0)
    while n < count:
        if flags[n] & asked == asked and kind[n] != but:
            if ((level[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF > above:
                loud += 1
        n += 1
    return loud


@micropython.viper
def choose(phase: ptr32, flags: ptr32, kept: ptr32, count: int, asked: int, after: int, before: int):
    """Set `kept` to 2 for the sounds that have all the flags asked and a phase between two, to 0 for the others.

    phase, flags, kept: of `count` sounds.

    Q format: integers. Range: phases 0..4e6. Headroom: as the range.
    """
    n = int(0)
    while n < count:
        kept[n] = NOT_KEPT
        if flags[n] & asked == asked and phase[n] > after and phase[n] < before:
            kept[n] = ALIKE
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
            beat = phase[i] + after
            if beat >= interval:
                beat -= interval
            many = int(0)
            total = int(0)
            n = int(0)
            while n < count:
                slip = phase[n] - beat
                if slip < 0:
                    slip = -slip
                if slip <= slack or interval - slip <= slack:
                    many += 1
                    # Offset, so that the sum and its quotient have no sign.
                    total += (evidence[n] + _EVIDENCE_ZERO) & _EVIDENCE_MASK
                n += 1
            hits[i] = many
            means[i] = 0
            if many:
                means[i] = total // many - _EVIDENCE_ZERO
        i += 1


@micropython.viper
def keep_alike(
    hits: ptr32,
    means: ptr32,
    others: ptr32,
    their_means: ptr32,
    kept: ptr32,
    count: int,
    most: int,
    squared: int,
):
    """Set to 1 the words of `kept` that are not 0 and whose sound has no companion as loud on average.

    hits, means, others, their_means: on_beats of the sound's own beat and of another. Companions are two at
    least; their means differ by at most `most`, and squared, times the fewer of both, by at most `squared`.

    Q format: integers. Range: |means| < 2**15, most < 2**12, count at most 64. Headroom: the product below 2**30.
    """
    n = int(0)
    while n < count:
        if kept[n]:
            fewer = hits[n]
            if others[n] < fewer:
                fewer = others[n]
            d = ((means[n] - their_means[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
            if d < 0:
                d = -d
            if fewer < _COMPANIONS or d > most:
                kept[n] = ALONE
            elif d * d * fewer > squared:
                kept[n] = ALONE
        n += 1
