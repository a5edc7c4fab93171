"""Logarithms of integers by repeated squaring, to hundredths of a decibel."""

import micropython
from micropython import const

FLOOR_CDB = const(-30000)


@micropython.viper
def log2_q10(value: int) -> int:
    """Return 1024 * log2(value), rounded down.

    Q format: Q10. Range: value 1..2**30 - 1, result 0..30719. Headroom: a mantissa below 2**15, squared.
    """
    m = int(value)
    whole = int(14)
    part = int(0)
    while m > 32767:
        m >>= 1
        whole += 1
    while m < 16384:
        m <<= 1
        whole -= 1
    bit = int(512)
    while bit:
        m = (m * m) >> 14
        if m > 32767:
            m >>= 1
            part += bit
        bit >>= 1
    return (whole << 10) + part


def power_cdb(value):
    """Return 1000 * log10(value) for a power of 0..2**30 - 1, within 1 of rounding; FLOOR_CDB for 0."""
    if value <= 0:
        return FLOOR_CDB
    return log2_q10(value) * 30103 // 102400
