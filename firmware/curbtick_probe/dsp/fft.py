"""A complex spectrum of 512 points, radix 2 with its first two stages in one, without scaling between stages."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import circle

POINTS = const(512)

# A point takes two words, its real and its imaginary part.
_REAL = const(0)
_IMAGINARY = const(1)
WORDS = const(2 * POINTS)

# Every word of the buffer stands for its value plus this, which keeps it positive on any word size.
BIAS = const(2097152)

# The sum of four words holds four biases, of which three must go.
_THREE_BIASES = const(3 * BIAS)

# Sines are Q11, offset by one; a quarter of a turn later in the table is the cosine.
_ONE = const(2048)
_ONE_BITS = const(11)
_ROUND = const(1024)
QUARTER = const(POINTS // 4)
TURNS = const(POINTS + QUARTER)


def turns() -> "array.array[int]":
    """Return the table `fft` reads: 640 halfwords, 2048 + 2048 * sin of 512ths of a turn."""
    return circle.circle(POINTS, TURNS, _ONE, _ONE)


def order() -> "array.array[int]":
    """Return the bit-reversed places of 512 points, as word indices of their real parts."""
    table = array.array("H", bytes(2 * POINTS))
    for k in range(1, POINTS):
        # The upper bits as those of half of k, one place on; the lowest becomes the highest.
        table[k] = table[k >> 1] >> 1 | (k & 1) * POINTS
    return table


@micropython.viper
def head(buf: ptr32):
    """Take the first two stages (turns by quarters only) over a buffer in bit-reversed order.

    buf: WORDS words, real and imaginary part in turn, plus BIAS.

    Q format: an integer sum of four points. Range: see `fft`. Headroom: four words below 2**22.
    """
    k = int(0)
    a = int(0)
    b = int(0)
    c = int(0)
    d = int(0)
    e = int(0)
    while k < WORDS:
        a = buf[k] + buf[k + 2]
        b = buf[k] - buf[k + 2]
        c = buf[k + 4] + buf[k + 6]
        d = buf[k + 5] - buf[k + 7]
        e = buf[k + 4] - buf[k + 6]
        buf[k] = a + c - _THREE_BIASES
        buf[k + 4] = a - c + BIAS
        buf[k + 2] = b + d + BIAS
        buf[k + 6] = b - d + BIAS
        a = buf[k + 1] + buf[k + 3]
        b = buf[k + 1] - buf[k + 3]
        c = buf[k + 5] + buf[k + 7]
        buf[k + 1] = a + c - _THREE_BIASES
        buf[k + 5] = a - c + BIAS
        buf[k + 3] = b - e + BIAS
        buf[k + 7] = b + e + BIAS
        k += 8


@micropython.viper
def fft(buf: ptr32, part: int, table: ptr16):
    """Take the remaining seven stages; the buffer then holds the spectrum in natural order.

    buf: from `head`. part: spare, any value. table: from `turns`.

    Q format: turns Q11; an integer sum, nothing is scaled. Range: where the magnitudes that go in sum to at most
    2**20.5, each value stays below 2**20.6 (rounding adds less than 7 units a stage). Headroom: a turned value is
    a half sum, below 2**19.6, times 2**11: below 2**30.6.
    """
    first = ptr32(uint(buf))
    # Words between the two points of a butterfly, and how often one turn is used, which is also its step in the table.
    half = int(8)
    stride = int(64)
    while half < WORDS:
        bytes_on = half << 3
        n = int(0)
        r = int(0)
        while n < half:
            c = table[r + QUARTER] - _ONE
            s = table[r] - _ONE
            near = ptr32(uint(first) + (n << 2))
            buf = ptr32(uint(near) + (half << 2))
            count = int(stride)
            while count:
                part = buf[_REAL] - BIAS
                real_c = part * c
                real_s = part * s
                part = buf[_IMAGINARY] - BIAS
                real = (part * s + real_c + _ROUND) >> _ONE_BITS
                part = (part * c - real_s + _ROUND) >> _ONE_BITS
                buf[_IMAGINARY] = near[_IMAGINARY] - part
                near[_IMAGINARY] = near[_IMAGINARY] + part
                part = real
                buf[_REAL] = near[_REAL] - part
                near[_REAL] = near[_REAL] + part
                buf = ptr32(uint(buf) + bytes_on)
                near = ptr32(uint(near) + bytes_on)
                count -= 1
            n += 2
            r += stride
        half <<= 1
        stride >>= 1
