"""How far a block of samples reaches: enough to tell clipping and a dead microphone."""

import micropython
from micropython import const

LOWEST, HIGHEST, RAILS = range(3)

# Samples looked at: every third, which shares no factor with a tone's 12 to 25 samples a period for long.
STRIDE = const(3)


@micropython.viper
def extent(x: ptr16, k: int, end: int, out: ptr32):
    """Widen the lowest and highest sample seen and count those at a rail (at most 1 or at least 4094).

    x: samples 0..4095, looked at from k on, every third, below `end`. out: 3 words, LOWEST and HIGHEST kept between
    calls (at first 4095 and 0), RAILS added to.

    Q format: codes. Range: 0..4095. Headroom: nothing adds but the count.
    """
    v = int(0)
    while k < end:
        v = int(x[k])
        if v < int(out[0]):
            out[0] = v
        if v > int(out[1]):
            out[1] = v
        if v < 2:
            out[2] = int(out[2]) + 1
        elif v > 4093:
            out[2] = int(out[2]) + 1
        k += 3
