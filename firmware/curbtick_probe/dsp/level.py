"""Logarithms of integers by repeated squaring, to hundredths of a decibel."""

import array

import micropython
from micropython import const

FLOOR_CDB = const(-30000)

# 1000 * log10(2) over 1024, as a fraction: what turns a Q10 logarithm to base 2 into hundredths of a dB of power.
CDB_NUMERATOR = const(30103)
CDB_DENOMINATOR = const(102400)

# A mantissa lies in 1..2 as Q14; its logarithm has ten bits after the point.
_ONE = const(16384)
_TWO = const(32768)
_ONE_BITS = const(14)
_POINT_BITS = const(10)
_HALF = const(512)
_NONE = const(-1024)

_word = array.array("i", [0])


@micropython.viper
def log2_q10(values: ptr32, count: int) -> int:
    """Replace each value by 1024 times its base-2 logarithm, rounded down; return the last one.

    values: `count` words, 0..2**31 - 1. A zero gives -1024.

    Q format: Q10. Range: -1024..31743. Headroom: a mantissa below 2**15, squared, is below 2**30.
    """
    n = int(0)
    result = int(_NONE)
    while n < count:
        m = values[n]
        result = int(_NONE)
        if m:
            result = int(_ONE_BITS << _POINT_BITS)
            while m > _TWO - 1:
                m >>= 1
                result += 1 << _POINT_BITS
            while m < _ONE:
                m <<= 1
                result -= 1 << _POINT_BITS
            bit = int(_HALF)
            while bit:
                m = (m * m) >> _ONE_BITS
                if m > _TWO - 1:
                    m >>= 1
                    result += bit
                bit >>= 1
        values[n] = result
        n += 1
    return result


def log2_of(value: int) -> int:
    """Return 1024 * log2(value), rounded down, for 1..2**31 - 1; -1024 for 0."""
    _word[0] = value
    return log2_q10(_word, 1)


def cdb(power: int) -> int:
    """Return 1000 * log10(power) in hundredths of a dB, within 1 of rounding, for 1..2**31 - 1."""
    _word[0] = power
    return log2_q10(_word, 1) * CDB_NUMERATOR // CDB_DENOMINATOR


def power_cdb(power: int) -> int:
    """Return `cdb` of a power of 0 or more; FLOOR_CDB for 0."""
    return cdb(power) if power > 0 else FLOOR_CDB
