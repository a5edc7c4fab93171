"""A tone of 10-20 kHz brought down to a complex baseband of 976.5625 Hz."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import circle

# The samples of a block, and their middle.
_BLOCK = const(1024)
_MID_CODE = const(2048)

# One turn of the table is 2500 steps, so that step n is exactly n * 100 Hz; 625 more serve the cosine.
TURN = const(2500)
QUARTER = const(TURN // 4)

# Sines are Q14, offset by one; products are kept at 2**-8.
_SINE_ONE = const(16384)
_PRODUCT_BITS = const(8)
_PRODUCT_ROUND = const(128)

# Half a triangle, in samples; a ramp's words are offset.
_HALF_TRIANGLE = const(64)
_HALF_TRIANGLE_BITS = const(6)
RAMP_ZERO = const(0x20000000)

# Values that a block gives: coarse ones of 3906.25 Hz, fine ones of 976.5625 Hz.
COARSE = const(_BLOCK // _HALF_TRIANGLE)
FINE = const(4)

# The transform's words are fine values plus this (curbtick_probe.dsp.fft).
_BIAS = const(2097152)

# Words of `line`: the running median, how many values were left out so far, then 72 values of each part.
MEDIAN = const(0)
BLANKED = const(1)
_LINE_FIRST = const(2)
_LINE_VALUES = const(72)
_LINE_NEWEST = const(_LINE_FIRST + _LINE_VALUES - COARSE)
_LINE_END = const(_LINE_FIRST + _LINE_VALUES)
LINE_ZERO = const(32768)

# Coarse values lose 12 bits for their magnitude, of which RAMP_ZERO leaves this; and two more for the line.
_MAGNITUDE_BITS = const(12)
_MAGNITUDE_ZERO = const(RAMP_ZERO >> _MAGNITUDE_BITS)
_LINE_BITS = const(2)
_LINE_ROUND = const(2)

# A value counts as a burst or knock above four medians and a little; the median moves by a sixteenth of itself.
_KNOCK_BITS = const(2)
_KNOCK_LEAST = const(16)
_MEDIAN_BITS = const(4)

# The filter has 56 taps, Q15 and offset, of which half are kept; it moves by FINE values. The first one begins where
# the last one ends with the newest value.
_TAPS = const(56)
_HALF = const(_TAPS // 2)
_TAP_ZERO = const(16384)
_FIRST = const(_LINE_END - _TAPS - 3 * FINE)
_FIRST_END = const(_LINE_END - _TAPS + 1)
_TWO_ZEROS = const(2 * LINE_ZERO)
_SUM_BITS = const(10)
_SUM_ROUND = const(512)

# One half of a symmetric 56-tap low-pass for 3906.25 Hz (Kaiser window, beta 8.3, edge 570 Hz), Q15: what would
# fold onto the tone from its multiples of 976.5625 Hz is 80 dB down.
HALF_TAPS = (0, -1, -4, -3, 5, 18, 21, -2, -46, -72, -34, 74, 175, 150) + (
    -54,
    -320,
    -401,
    -111,
    446,
    837,
    579,
    -410,
    -1533,
    -1738,
    -188,
    3034,
    6743,
    9219,
)


def oscillator() -> "array.array[int]":
    """Return the table `mix` reads: 3125 halfwords, 16384 + 16384 * sin."""
    return circle.circle(TURN, TURN + QUARTER, _SINE_ONE, _SINE_ONE)


def taps() -> "array.array[int]":
    """Return the table `decimate` reads."""
    return array.array("H", (_TAP_ZERO + tap for tap in HALF_TAPS))


def line() -> "array.array[int]":
    """Return a delay line at rest."""
    return array.array("i", [64, 0] + [LINE_ZERO] * (2 * _LINE_VALUES))


@micropython.viper
def mix(x: ptr16, table: ptr16, phase: int, step: int, ramp: ptr32, out: ptr32) -> int:
    """Turn one block by -step * 100 Hz and sum it under triangles of 128 samples, 64 apart; return the new phase.

    x: BLOCK samples 0..4095. table: from `oscillator`. phase: 0..2499. step: 1..1249. ramp: 2 words kept between
    calls, at first 2**29 each. out: 32 words, real and imaginary part in turn, plus 2**29.
    The two sums of a triangle (order-2 comb) have their nulls at multiples of 3906.25 Hz from the centre, where
    the decimation would fold to.

    Q format: Q14 sine, products kept at 2**-8: 1 code of tone amplitude gives 2**17 / 2**-12 of a triangle.
    Range: |v| <= 2**17 a sample, 64 samples 2**23, a ramp 64 * 2**23 = 2**29 at most in theory and 0.66 * 2**29
    with a cosine's mean; a triangle weighs 4096 samples: 0.66 * 2**29. Headroom: 2**29 + 2**29 < 2**31.
    """
    k = int(0)
    s = int(0)
    r = int(0)
    u = int(0)
    w = int(0)
    v = int(0)
    j = int(0)
    while k < _BLOCK:
        end = k + _HALF_TRIANGLE
        s = int(0)
        r = int(0)
        u = int(0)
        w = int(0)
        while k < end:
            v = x[k] - _MID_CODE
            s += (v * (table[phase + QUARTER] - _SINE_ONE) + _PRODUCT_ROUND) >> _PRODUCT_BITS
            r += s
            u -= (v * (table[phase] - _SINE_ONE) + _PRODUCT_ROUND) >> _PRODUCT_BITS
            w += u
            phase += step
            if phase > TURN - 1:
                phase -= TURN
            k += 1
        out[j] = ramp[0] + r
        out[j + 1] = ramp[1] + w
        ramp[0] = (s << _HALF_TRIANGLE_BITS) - r + RAMP_ZERO
        ramp[1] = (u << _HALF_TRIANGLE_BITS) - w + RAMP_ZERO
        j += 2
    return phase


@micropython.viper
def blank(coarse: ptr32, line: ptr32):
    """Shift 16 values into the delay line, with zero for those that tower over the running median magnitude.

    coarse: 32 words from `mix`. line: from `line`, kept between calls.
    A tone's magnitude is its median; a burst or knock stands above four times it for some values and counts as
    nothing. White noise passes: a Rayleigh magnitude is that large once in 2**16. The median moves by 1/16 of
    itself with each value.

    Q format: magnitudes at 2**-12, the line's values at 2**-14, plus 2**15. Range: |value| <= 0.66 * 2**15,
    magnitude < 2**17.5, median 1..2**18. Headroom: 4 * median < 2**21.
    """
    k = int(_LINE_FIRST)
    j = int(0)
    p = int(0)
    q = int(0)
    m = int(0)
    med = line[MEDIAN]
    while k < _LINE_NEWEST:
        line[k] = line[k + COARSE]
        line[k + _LINE_VALUES] = line[k + (_LINE_VALUES + COARSE)]
        k += 1
    while k < _LINE_END:
        p = (coarse[j] >> _MAGNITUDE_BITS) - _MAGNITUDE_ZERO
        q = (coarse[j + 1] >> _MAGNITUDE_BITS) - _MAGNITUDE_ZERO
        m = p
        if m < 0:
            m = -m
        n = q
        if n < 0:
            n = -n
        if m > n:
            m += n >> 1
        else:
            m = n + (m >> 1)
        if m > (med << _KNOCK_BITS) + _KNOCK_LEAST:
            p = int(0)
            q = int(0)
            line[BLANKED] = line[BLANKED] + 1
        if m > med:
            med += (med >> _MEDIAN_BITS) + 1
        elif med > 1:
            med -= (med >> _MEDIAN_BITS) + 1
        line[k] = ((p + _LINE_ROUND) >> _LINE_BITS) + LINE_ZERO
        line[k + _LINE_VALUES] = ((q + _LINE_ROUND) >> _LINE_BITS) + LINE_ZERO
        j += 2
        k += 1
    line[MEDIAN] = med


@micropython.viper
def decimate(line: ptr32, taps: ptr16, fine: ptr32, at: int):
    """Filter the delay line into FINE values of the fine baseband, complex index at..at+3.

    line: from `blank`. taps: from `taps`. fine: words, real and imaginary part in turn, plus 2**21.

    Q format: taps Q15, sums kept at 2**-10: a full-scale sine (2047.5 codes) at the centre gives 524160.
    Range: |value| < 2**20.1.
    Headroom: |line| <= 0.66 * 2**15, the taps' magnitudes sum to 52436: sums < 1.14e9 < 2**30.1.
    """
    i = int(0)
    j = int(0)
    p = int(0)
    q = int(0)
    t = int(0)
    n = int(0)
    o = int(at) << 1
    first = int(_FIRST)
    while first < _FIRST_END:
        i = first
        j = first + (_TAPS - 1)
        p = int(_SUM_ROUND)
        q = int(_SUM_ROUND)
        n = int(0)
        while n < _HALF:
            t = taps[n] - _TAP_ZERO
            p += t * (line[i] + line[j] - _TWO_ZEROS)
            q += t * (line[i + _LINE_VALUES] + line[j + _LINE_VALUES] - _TWO_ZEROS)
            i += 1
            j -= 1
            n += 1
        fine[o] = (p >> _SUM_BITS) + _BIAS
        fine[o + 1] = (q >> _SUM_BITS) + _BIAS
        o += 2
        first += FINE
