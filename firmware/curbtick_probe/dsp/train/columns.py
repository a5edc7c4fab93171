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
