"""A tone of 10-20 kHz brought down to a complex baseband of 976.5625 Hz."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import circle

RATE_HZ = const(250000)
STEP_HZ = const(100)
BLOCK = const(1024)

# One turn of the table is 2500 steps, so that step n is exactly n * 100 Hz; 625 more serve the cosine.
TURN = const(2500)
QUARTER = const(625)

COARSE = const(16)
FINE = const(4)
FINE_RATE_UHZ = const(976562500)

# A full-scale sine (2047.5 codes) at the centre gives this magnitude in the fine baseband.
FULL_SCALE = const(524160)

# Words of `line`: the running median, blanked values so far, then 72 values of each part.
LINE_WORDS = const(146)
LINE_EMPTY = const(32768)
BIAS = const(2097152)

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


def oscillator():
    """Return the table `mix` reads: 3125 halfwords, 16384 + 16384 * sin."""
    return circle.circle(TURN, TURN + QUARTER, 16384, 16384)


def taps():
    """Return the table `decimate` reads."""
    return array.array("H", (16384 + tap for tap in HALF_TAPS))


def line():
    """Return a delay line at rest."""
    return array.array("i", [64, 0] + [LINE_EMPTY] * 144)


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
    while k < 1024:
        end = k + 64
        s = int(0)
        r = int(0)
        u = int(0)
        w = int(0)
        while k < end:
            v = int(x[k]) - 2048
            s += (v * (int(table[phase + 625]) - 16384) + 128) >> 8
            r += s
            u -= (v * (int(table[phase]) - 16384) + 128) >> 8
            w += u
            phase += step
            if phase > 2499:
                phase -= 2500
            k += 1
        out[j] = int(ramp[0]) + r
        out[j + 1] = int(ramp[1]) + w
        ramp[0] = (s << 6) - r + 0x20000000
        ramp[1] = (u << 6) - w + 0x20000000
        j += 2
    return phase


@micropython.viper
def blank(coarse: ptr32, line: ptr32):
    """Shift 16 values into the delay line, with zero for those that tower over the running median magnitude.

    coarse: 32 words from `mix`. line: LINE_WORDS words kept between calls (see `line`).
    A tone's magnitude is its median; a burst or knock stands above four times it for some values and counts as
    nothing. White noise passes: a Rayleigh magnitude is that large once in 2**16. The median moves by 1/16 of
    itself with each value.

    Q format: magnitudes at 2**-12, the line's values at 2**-14, plus 2**15. Range: |value| <= 0.66 * 2**15,
    magnitude < 2**17.5, median 1..2**18. Headroom: 4 * median < 2**21.
    """
    k = int(2)
    j = int(0)
    p = int(0)
    q = int(0)
    m = int(0)
    med = int(line[0])
    while k < 58:
        line[k] = line[k + 16]
        line[k + 72] = line[k + 88]
        k += 1
    while k < 74:
        p = (int(coarse[j]) >> 12) - 131072
        q = (int(coarse[j + 1]) >> 12) - 131072
        m = p
        if m < 0:
            m = 0 - m
        n = q
        if n < 0:
            n = 0 - n
        if m > n:
            m += n >> 1
        else:
            m = n + (m >> 1)
        if m > (med << 2) + 16:
            p = int(0)
            q = int(0)
            line[1] = int(line[1]) + 1
        if m > med:
            med += (med >> 4) + 1
        elif med > 1:
            med -= (med >> 4) + 1
        line[k] = ((p + 2) >> 2) + 32768
        line[k + 72] = ((q + 2) >> 2) + 32768
        j += 2
        k += 1
    line[0] = med


@micropython.viper
def decimate(line: ptr32, taps: ptr16, fine: ptr32, at: int):
    """Filter the delay line into FINE values of the fine baseband, complex index at..at+3.

    line: from `blank`. taps: from `taps`. fine: words, real and imaginary part in turn, plus 2**21.

    Q format: taps Q15, sums kept at 2**-10: a full-scale tone gives FULL_SCALE. Range: |value| < 2**20.1.
    Headroom: |line| <= 0.66 * 2**15, the taps' magnitudes sum to 52436: sums < 1.14e9 < 2**30.1.
    """
    i = int(0)
    j = int(0)
    p = int(0)
    q = int(0)
    t = int(0)
    n = int(0)
    o = int(at) << 1
    first = int(6)
    while first < 19:
        i = first
        j = first + 55
        p = int(512)
        q = int(512)
        n = int(0)
        while n < 28:
            t = int(taps[n]) - 16384
            p += t * (int(line[i]) + int(line[j]) - 65536)
            q += t * (int(line[i + 72]) + int(line[j + 72]) - 65536)
            i += 1
            j -= 1
            n += 1
        fine[o] = (p >> 10) + 2097152
        fine[o + 1] = (q >> 10) + 2097152
        o += 2
        first += 4
