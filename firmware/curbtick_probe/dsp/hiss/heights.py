"""How far each block of a band stands above a background in all of its sub-bands but one."""

import micropython
from micropython import const

# Sub-bands in a row of energies, and in a band.
_ROW = const(12)
_BAND = const(4)


@micropython.viper
def gather(rows: ptr32, out: ptr32, first: int, count: int):
    """Copy the four sub-bands from `first` on of each of `count` rows of twelve, those of nothing as 1.

    A word below zero is a large number to a 64-bit port, so no logarithm may be.

    rows: from spectrum.bands. out: 4 * count words. Q format: fine units. Range: below 2**27. Headroom: nothing adds.
    """
    k = int(0)
    n = int(0)
    v = int(0)
    row = int(first)
    while k < int(count):
        n = int(0)
        while n < _BAND:
            v = rows[row + n]
            if v < 1:
                v = int(1)
            out[(k << 2) + n] = v
            n += 1
        row += _ROW
        k += 1


@micropython.viper
def total(logs: ptr32, sums: ptr32, count: int):
    """Add the logarithms of `count` blocks to the sums of the four sub-bands.

    logs: 4 * count words, Q10 below 2**15. sums: 4 words. Q format: Q10. Range: the sums of 2**15 blocks below 2**30.
    Headroom: the sums.
    """
    k = int(0)
    end = int(count) << 2
    while k < end:
        sums[k & 3] = sums[k & 3] + logs[k]
        k += 1


@micropython.viper
def heights(logs: ptr32, reference: ptr32, out: ptr32, count: int, spread: int):
    """Write how far each of `count` blocks stands above the reference in its second lowest sub-band.

    logs: 4 * count words, Q10, 0 and more. reference: 4 words, likewise. out: count words; where the highest sub-band
    stands more than `spread` above the second lowest, no hiss made the block, and it is 0 at most.

    Q format: Q10 of base 2. Range: |.| below 2**16. Headroom: differences.
    """
    k = int(0)
    n = int(0)
    v = int(0)
    low = int(0)
    second = int(0)
    high = int(0)
    while k < int(count):
        low = int(1048576)
        second = int(1048576)
        high = int(-1048576)
        n = int(0)
        while n < _BAND:
            v = logs[(k << 2) + n] - reference[n]
            if v < low:
                second = low
                low = v
            elif v < second:
                second = v
            if v > high:
                high = v
            n += 1
        if high - second > int(spread):
            if second > 0:
                second = int(0)
        out[k] = second
        k += 1
