"""Viper functions that show what the harness must notice. MicroPython source, not for CPython."""

import micropython
from micropython import const

OFFSET = const(2048)
LIMITS = (1, 2, 3)


@micropython.viper
def energy(samples: ptr16, count: int) -> int:
    """Sum of squares about OFFSET; wraps when it passes 31 bits."""
    total = int(0)
    n = int(0)
    while n < count:
        deviation = int(samples[n]) - OFFSET
        total += deviation * deviation
        n += 1
    return total


@micropython.viper
def mixed(words: ptr32, halves: ptr16, octets: ptr8, out: ptr32, a: int, b: int):
    """One of each operation, with whatever the word size makes of it."""
    w = int(words[0])
    h = int(halves[0])
    out[0] = w >> 3
    out[1] = (w + a) >> 1
    out[2] = a * b
    out[3] = (a << 7) >> 9
    out[4] = (a ^ b) & ~h | int(octets[0])
    out[5] = -a - b
    out[6] = int(w < h)
    halves[1] = a
    octets[1] = b
    words[1] = a + b
    if b != 0:
        out[7] = a // b
        out[8] = a % b


@micropython.viper
def halve(words: ptr32):
    """Depends on the word size when the word is negative."""
    words[0] = int(words[0]) >> 1


@micropython.viper
def past_the_end(octets: ptr8, count: int):
    """Writes one element too many."""
    n = int(0)
    while n <= count:
        octets[n] = 7
        n += 1


@micropython.viper
def asks_for_a_global(n: int) -> int:
    """Needs the interpreter."""
    return int(LIMITS[n])


@micropython.viper
def forever(n: int):
    """Does not return."""
    while n == n:
        n += 1


def plain(n):
    """Not machine code."""
    return n
