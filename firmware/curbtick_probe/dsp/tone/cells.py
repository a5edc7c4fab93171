"""Spectral cells around a tone: load and window a fine baseband, powers, the highest, and the noise beside it."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import fft

# Values of the fine baseband in one spectrum, and the tapered ones at either end; weights are Q8.
SPAN = const(192)
TAPER = const(16)
_ONE = const(256)
_ONE_BITS = const(8)
_HALF = const(128)

# Cells run from -REACH to +REACH of 976.5625 / 512 = 1.9073 Hz each.
REACH = const(184)
CELLS = const(2 * REACH + 1)
CELL_UHZ = const(1907349)

# The transform's points and the bias of its words (curbtick_probe.dsp.fft).
_POINTS = const(512)
_BIAS = const(2097152)


def taper(turns: "array.array[int]") -> "array.array[int]":
    """Return the raised-cosine weights of the first TAPER values, Q8, from the 512-step table of fft.

    Symmetric about the end's middle: weight n is (1 - cos(pi (n + 1/2) / 16)) / 2.
    """
    table = array.array("H", bytes(2 * TAPER))
    for n in range(TAPER):
        cosine = turns[fft.QUARTER + 16 * n + 8] - 2048
        table[n] = (2048 - cosine + 8) >> 4
    return table


@micropython.viper
def crest(fine: ptr32, count: int) -> int:
    """Return the largest magnitude of a part. fine: 2 * count words, plus 2**21.

    Q format: the values'. Range: up to 2**21. Headroom: none of it adds.
    """
    k = int(0)
    top = int(0)
    v = int(0)
    end = int(count) << 1
    while k < end:
        v = fine[k] - _BIAS
        if v < 0:
            v = -v
        if v > top:
            top = v
        k += 1
    return top


@micropython.viper
def load(fine: ptr32, buf: ptr32, order: ptr16, taper: ptr16, shift: int):
    """Put SPAN windowed values, at 2**-shift, and zeros behind them into the buffer's bit-reversed places.

    fine: 384 words, plus 2**21. buf: 1024 words, plus 2**21. order: from fft.order. taper: from `taper`.
    shift: such that each part is below 2**12 after it.

    Q format: weights Q8. Range: parts below 2**12; the magnitudes sum to at most 192 * 2**12.5 = 2**20.1.
    Headroom: 2**20.1 * 2**8 < 2**29.
    """
    k = int(0)
    o = int(0)
    g = int(0)
    half = int(_HALF) << int(shift)
    fall = int(shift) + _ONE_BITS
    while k < SPAN:
        g = int(_ONE)
        if k < TAPER:
            g = taper[k]
        elif k > SPAN - TAPER - 1:
            g = taper[(SPAN - 1) - k]
        o = order[k]
        buf[o] = (((fine[k << 1] - _BIAS) * g + half) >> fall) + _BIAS
        buf[o + 1] = (((fine[(k << 1) + 1] - _BIAS) * g + half) >> fall) + _BIAS
        k += 1
    while k < _POINTS:
        o = order[k]
        buf[o] = _BIAS
        buf[o + 1] = _BIAS
        k += 1


@micropython.viper
def powers(buf: ptr32, cells: ptr32, drop: int):
    """Write the powers of cells -REACH..REACH, each part first taken at 2**-drop.

    buf: a spectrum of fft. cells: CELLS words.

    Q format: squares of the parts at 2**-drop. Range: below 2**30 where drop keeps each part below 2**14.5.
    Headroom: the sum of two squares.
    """
    k = int(0)
    i = int(0)
    p = int(0)
    q = int(0)
    while k < CELLS:
        i = ((k + (_POINTS - REACH)) & (_POINTS - 1)) << 1
        p = (buf[i] - _BIAS) >> int(drop)
        q = (buf[i + 1] - _BIAS) >> int(drop)
        cells[k] = p * p + q * q
        k += 1


@micropython.viper
def spread(buf: ptr32) -> int:
    """Return the largest magnitude of a part among cells -REACH..REACH.

    Q format: the spectrum's. Range: up to 2**21. Headroom: none of it adds.
    """
    k = int(0)
    i = int(0)
    v = int(0)
    top = int(0)
    while k < CELLS:
        i = ((k + (_POINTS - REACH)) & (_POINTS - 1)) << 1
        v = buf[i] - _BIAS
        if v < 0:
            v = -v
        if v > top:
            top = v
        v = buf[i + 1] - _BIAS
        if v < 0:
            v = -v
        if v > top:
            top = v
        k += 1
    return top


@micropython.viper
def highest(cells: ptr32, first: int, last: int) -> int:
    """Return the index of the highest cell of first..last, the first of equals.

    Q format: the cells'. Range: cells below 2**30. Headroom: none of it adds.
    """
    k = int(first)
    best = k
    top = cells[k]
    while k <= last:
        if cells[k] > top:
            top = cells[k]
            best = k
        k += 1
    return best


@micropython.viper
def mean_below(cells: ptr32, inner: int, cap: int, shift: int) -> int:
    """Return the mean of the cells at most `cap`, at 2**-shift, further than `inner` cells from the centre; 0 for none.

    cells: CELLS words. inner: 0..183. Q format: the cells' at 2**-shift. Range: cells below 2**30.
    Headroom: shift such that 368 * (cap >> shift) < 2**31.
    """
    k = int(0)
    total = int(0)
    n = int(0)
    while k < CELLS:
        if k == REACH - inner:
            k = REACH + inner + 1
        if cells[k] <= cap:
            total += cells[k] >> int(shift)
            n += 1
        k += 1
    if n == 0:
        return 0
    return total // n
