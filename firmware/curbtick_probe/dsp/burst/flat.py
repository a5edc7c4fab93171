"""Whether a burst's crests are cut flat: an amplifier that stops where it should not shows no code that is too high.

A sine is within a 32nd of its crest for a sixth of its time, and above half of it for two thirds: a quarter. Cut 4 dB
below its crest it stays there for 0.56 of its time. Only where the frequency is a small part of the sampling rate to
within some 40 Hz do samples of a whole sine lie alike for as long, and then in one burst of ten.
"""

import micropython
from micropython import const

# So many samples before the burst tell where the input rests.
_LEAD = const(32)
_LEAD_SHIFT = const(5)
# Below this crest, in codes from rest, the converter's noise is as high as the part of it that is looked at.
_CREST_LEAST = const(300)
_NEAR_SHIFT = const(5)
_NEAR_LEAST = const(12)
# So few samples above half of the crest are no burst.
_HALF_LEAST = const(10)


@micropython.viper
def percent(x: ptr16, count: int) -> int:
    """Return how many percent of the samples above half of the crest are near the crest, on the flatter side.

    x: `count` samples 0..4095, more than 32: the input at rest, then a burst. 0 where no crest is high enough to tell.

    Q format: codes. Range: 0..100. Headroom: 100 * count < 2**31.
    """
    rest = int(0)
    n = int(0)
    while n < _LEAD:
        rest += int(x[n])
        n += 1
    rest = rest >> _LEAD_SHIFT
    found = int(0)
    sign = int(1)
    while sign >= -1:
        crest = int(0)
        n = int(_LEAD)
        while n < count:
            v = (int(x[n]) - rest) * sign
            if v > crest:
                crest = v
            n += 1
        near = crest >> _NEAR_SHIFT
        if near < _NEAR_LEAST:
            near = int(_NEAR_LEAST)
        above = int(0)
        top = int(0)
        n = int(_LEAD)
        while n < count:
            v = (int(x[n]) - rest) * sign
            if v + v >= crest:
                above += 1
                if v >= crest - near:
                    top += 1
            n += 1
        if crest >= _CREST_LEAST and above >= _HALF_LEAST and 100 * top > found * above:
            found = 100 * top // above
        sign -= 2
    return found
