"""How far a block of samples reaches: enough to tell clipping and a dead microphone."""

import micropython
from micropython import const

# Words of an extent: lowest and highest code, and how many samples were at a rail.
LOWEST = const(0)
HIGHEST = const(1)
RAILS = const(2)
WORDS = const(3)

# Of the samples of an update (16,384): clipped above so many at a rail, dead below so many codes between the extremes.
CLIPPED_SAMPLES = const(80)
DEAD_CODES = const(3)

# Samples looked at: every third, which shares no factor with a tone's 12 to 25 samples a period for long.
_STRIDE = const(3)

# Only the two codes beyond each of these are at a rail.
_RAIL_LOW = const(2)
_RAIL_HIGH = const(4093)


@micropython.viper
def extent(x: ptr16, k: int, end: int, out: ptr32):
    """Widen the lowest and highest sample seen and count those at a rail (at most 1 or at least 4094).

    x: samples 0..4095, looked at from k on, every third, below `end`. out: 3 words, LOWEST and HIGHEST kept between
    calls (at first 4095 and 0), RAILS added to.

    Q format: codes. Range: 0..4095. Headroom: nothing adds but the count.
    """
    v = int(0)
    while k < end:
        v = x[k]
        if v < out[LOWEST]:
            out[LOWEST] = v
        if v > out[HIGHEST]:
            out[HIGHEST] = v
        if v < _RAIL_LOW:
            out[RAILS] = out[RAILS] + 1
        elif v > _RAIL_HIGH:
            out[RAILS] = out[RAILS] + 1
        k += _STRIDE
