"""A strong burst's envelope at the full sampling rate, to see how fast it falls."""

import micropython
from micropython import const

# Samples that the first value needs beyond its own; bytes of a sample and of a word.
EXTRA = const(4)
_SAMPLE_BYTES = const(2)
_WORD_BYTES = const(4)

# The quadrature's gain is Q8.
_GAIN_BITS = const(8)


@micropython.viper
def envelope(x: ptr16, part: int, e: ptr32, count: int, gain_q8: int):
    """Squared envelope of a carrier from five samples each: y**2 + (quadrature of y)**2 with y = x[n] - x[n - 2].

    x: count + 4 samples 0..4095; value n is centred on x[n + 2]. part: spare, any value. e: `count` words.
    gain_q8: from tables.quadratures_q8, 128..256.

    Q format: codes squared times the difference's gain. Range: |y| <= 4095, |quadrature| <= 8190, e < 8.4e7 < 2**27.
    Headroom: 8190 * 256 < 2**21.
    """
    while count > 0:
        part = x[0]
        part = (part + x[4] - x[2] - x[2]) * gain_q8 >> _GAIN_BITS
        square = part * part
        part = x[3]
        part -= x[1]
        e[0] = part * part + square
        x = ptr16(uint(x) + _SAMPLE_BYTES)
        e = ptr32(uint(e) + _WORD_BYTES)
        count -= 1
