"""How far a block of samples reaches: enough to tell clipping and a dead microphone."""

import micropython
from micropython import const

# Words of an extent: lowest and highest code, and how many samples were at a stop.
LOWEST = const(0)
HIGHEST = const(1)
STOPS = const(2)
WORDS = const(3)

# Of the samples of an update (16,384): clipped above so many at a stop, dead below so many codes between the extremes.
CLIPPED_SAMPLES = const(80)
DEAD_CODES = const(3)

# Samples looked at: every third, which shares no factor with a tone's 12 to 25 samples a period for long.
_STRIDE = const(3)

# An amplifier may stop anywhere from code 2 to 115 and from 3846 to 4068, as its supply, its reference and its own
# swing fall out (curbtick.hardware.rails). From these codes on nothing is trusted, whether it stopped there or not:
# another input shows it. So a sine is whole up to -1.5 dBFS.
STOP_LOW = const(128)
STOP_HIGH = const(3824)


@micropython.viper
def extent(x: ptr16, k: int, end: int, out: ptr32):
    """Widen the lowest and highest sample seen and count those at a stop (at most STOP_LOW or at least STOP_HIGH).

    x: samples 0..4095, looked at from k on, every third, below `end`. out: 3 words, LOWEST and HIGHEST kept between
    calls (at first 4095 and 0), STOPS added to.

    Q format: codes. Range: 0..4095. Headroom: nothing adds but the count.
    """
    v = int(0)
    while k < end:
        v = x[k]
        if v < out[LOWEST]:
            out[LOWEST] = v
        if v > out[HIGHEST]:
            out[HIGHEST] = v
        if v <= STOP_LOW:
            out[STOPS] = out[STOPS] + 1
        elif v >= STOP_HIGH:
            out[STOPS] = out[STOPS] + 1
        k += _STRIDE
