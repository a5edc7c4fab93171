"""Which sounds of a reading are alike, and which of them is the loudest in a band."""

import micropython
from micropython import const

# Words of a likeness: a level, a frequency and a length, and how far off each may be.
LEVEL = const(0)
HZ = const(1)
LENGTH = const(2)
LEVEL_SPREAD = const(3)
HZ_SPREAD = const(4)
LENGTH_SPREAD = const(5)
LIKE_WORDS = const(6)

# Words of a band: what a sound must be at least to count, and where its frequency may lie.
LEAST_CDB = const(0)
LEAST_EVIDENCE_CDB = const(1)
LEAST_US = const(2)
LOWEST_HZ = const(3)
HIGHEST_HZ = const(4)
BAND_WORDS = const(5)

# A word of 64 bits loads ptr32 without its sign: adding half, masking and taking half off gives a number of 30
# bits its sign back.
_SIGN_HALF = const(0x20000000)
_SIGN_MASK = const(0x3FFFFFFF)


@micropython.viper
def gather(
    level: ptr32, hz: ptr32, length: ptr32, flags: ptr32, like: ptr32, rows: ptr32, count: int, asked: int
) -> int:
    """Write the rows of the sounds that have all the flags asked and are like one thing; return how many.

    level, hz, length, flags: of `count` sounds. like: LIKE_WORDS words. rows: `count` words.

    Q format: integers. Range: frequencies and lengths 0..4e6, |level| < 2**28. Headroom: differences below 2**29.
    """
    n = int(0)
    found = int(0)
    while n < count:
        if flags[n] & asked == asked:
            d = ((level[n] - like[LEVEL] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
            f = hz[n] - like[HZ]
            s = length[n] - like[LENGTH]
            if d < 0:
                d = -d
            if f < 0:
                f = -f
            if s < 0:
                s = -s
            if d <= like[LEVEL_SPREAD] and f <= like[HZ_SPREAD] and s <= like[LENGTH_SPREAD]:
                rows[found] = n
                found += 1
        n += 1
    return found


@micropython.viper
def loudest(level: ptr32, evidence: ptr32, length: ptr32, hz: ptr32, band: ptr32, count: int) -> int:
    """Return the row of the loudest sound of a band, the first of equals; -1 for none.

    level, evidence, length, hz: of `count` sounds. band: BAND_WORDS words.

    Q format: integers. Range: frequencies and lengths 0..4e6, |others| < 2**29. Headroom: as the range.
    """
    least = ((band[LEAST_CDB] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
    clear = ((band[LEAST_EVIDENCE_CDB] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
    row = int(-1)
    n = int(0)
    while n < count:
        v = ((level[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        e = ((evidence[n] + _SIGN_HALF) & _SIGN_MASK) - _SIGN_HALF
        if v >= least and e >= clear and length[n] >= band[LEAST_US]:
            if hz[n] >= band[LOWEST_HZ] and hz[n] <= band[HIGHEST_HZ]:
                least = v + 1
                row = n
        n += 1
    return row
