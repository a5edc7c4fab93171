"""Steady lines in an averaged spectrum, what is left without them, and the centre of a band's energies."""

import micropython
from micropython import const

# Peaks are looked for where both sides have neighbours: 12.2 to 79.6 kHz.
PEAK_FIRST = const(8)
PEAK_LAST = const(146)


@micropython.viper
def limits(totals: ptr32, out: ptr32, blocks: int):
    """Write twice the mean power of a block beside each bin: of the six bins 3 to 8 away, the higher side's.

    totals: from hiss_spectrum.total over `blocks` blocks, 1..80; its clipped sums count. out: BINS words.
    Q format: fine units. Range: out <= 2**22. Headroom: six sums at 2**-3 below 2**29; side / (6 * blocks) * 16.
    """
    k = int(0)
    i = int(0)
    end = int(0)
    side = int(0)
    most = int(0)
    n = int(0)
    while k < 155:
        most = int(0)
        n = int(0)
        while n < 2:
            i = k + 457
            if n:
                i = k + 468
            end = i + 6
            side = int(0)
            while i < end:
                if i > 464:
                    if i < 620:
                        side += int(totals[i]) >> 3
                i += 1
            if side > most:
                most = side
            n += 1
        n = most // (int(blocks) * 6)
        if n > 262144:
            n = int(262144)
        out[k] = n << 4
        k += 1


@micropython.viper
def peaks(logs: ptr32, totals: ptr32, found: ptr32, over_least: int, rise_cdb: int, most: int) -> int:
    """Find the bins that stand out of both sides in the mean and above their limits most of the time; return how many.

    logs: from hiss_spectrum.logs. totals: from hiss_spectrum.total. over_least: blocks that must have exceeded the
    limit. rise_cdb: least height above the mean logarithm of each side's bins 3 to 8 away. found: at least `most`
    words, the bins from low to high. Q format: hundredths of a dB. Range: bins 8..146. Headroom: six logarithms below
    2**17.
    """
    k = int(8)
    i = int(0)
    n = int(0)
    low = int(0)
    high = int(0)
    while k < 147:
        if int(totals[k + 310]) >= int(over_least):
            if int(logs[k]) >= int(logs[k - 1]):
                if int(logs[k]) > int(logs[k + 1]):
                    low = int(0)
                    high = int(0)
                    i = int(3)
                    while i < 9:
                        low += int(logs[k - i])
                        high += int(logs[k + i])
                        i += 1
                    if high > low:
                        low = high
                    if (int(logs[k]) - int(rise_cdb)) * 6 > low:
                        if n < int(most):
                            found[n] = k
                            n += 1
        k += 1
    return n


@micropython.viper
def cover(mask: ptr8, bins: ptr32, count: int, reach: int):
    """Mark with 1 the bins within `reach` of the first `count` of `bins`, all others with 0.

    mask: BINS bytes. Q format: none. Range: bins 0..154. Headroom: none of it adds.
    """
    k = int(0)
    n = int(0)
    end = int(0)
    while k < 155:
        mask[k] = 0
        k += 1
    while n < int(count):
        k = int(bins[n]) - int(reach)
        end = int(bins[n]) + int(reach)
        while k <= end:
            if k >= 0:
                if k < 155:
                    mask[k] = 1
            k += 1
        n += 1


@micropython.viper
def left(totals: ptr32, mask: ptr8, first: int, last: int) -> int:
    """Return the sum of the clipped totals, at 2**-6, of the unmasked bins first..last.

    Q format: 2**6 fine units. Range: 40 bins of at most 80 blocks stay below 2**29. Headroom: the sum itself.
    """
    k = int(first)
    rest = int(0)
    while k <= int(last):
        if int(mask[k]) == 0:
            rest += int(totals[k + 465]) >> 6
        k += 1
    return rest


@micropython.viper
def ratios(now: ptr32, before: ptr32, out: ptr32, first: int, last: int):
    """Write now / before of the clipped totals of bins first..last, in 128ths, at most 2**20.

    Q format: Q7. Range: 0..2**20. Headroom: now is brought below 2**22 with `before` beside it, then times 2**7.
    """
    k = int(first) + 465
    i = int(0)
    n = int(0)
    d = int(0)
    end = int(last) + 465
    while k <= end:
        n = int(now[k])
        d = int(before[k])
        while n > 4194303:
            n >>= 1
            d >>= 1
        if d < 1:
            d = int(1)
        n = (n << 7) // d
        if n > 1048576:
            n = int(1048576)
        out[i] = n
        i += 1
        k += 1


@micropython.viper
def fold(rows: ptr32, out: ptr32, first: int, width: int, count: int):
    """Add `width` sub-bands, at most 4, of each of `count` rows of twelve, from `first` on.

    Q format: fine units. Range: sub-bands below 2**27, sums below 2**29. Headroom: the sums.
    """
    k = int(0)
    i = int(0)
    v = int(0)
    end = int(0)
    row = int(first)
    while k < int(count):
        i = row
        end = row + int(width)
        v = int(0)
        while i < end:
            v += int(rows[i])
            i += 1
        out[k] = v
        k += 1
        row += 12


@micropython.viper
def median(values: ptr32, count: int) -> int:
    """Return the middle one of `count` values, the upper of two.

    Q format: the values'. Range: below 2**30. Headroom: none of it adds.
    """
    k = int(0)
    i = int(0)
    v = int(0)
    rank = int(0)
    middle = int(0)
    while k < int(count):
        v = int(values[k])
        rank = int(0)
        i = int(0)
        while i < int(count):
            if int(values[i]) < v:
                rank += 1
            elif int(values[i]) == v:
                if i < k:
                    rank += 1
            i += 1
        if rank == int(count) >> 1:
            middle = v
        k += 1
    return middle


@micropython.viper
def centre(values: ptr32, count: int, middle: int, width_q8: int, shift: int) -> int:
    """Return the centre of positive values at 2**-shift: Huber's estimate, values further off counting as `width` away,
    and those more than three widths above it, which are bursts and knocks, not at all.

    values: count words, 1..80. middle: where to begin, from `median`. width_q8: 1..255 256ths of the centre.
    shift: such that each value >> shift < 2**22.

    Q format: the values' at 2**-shift. Range: below 2**22. Headroom: 2**22 * 255 < 2**30; 80 * 2**22 < 2**28.4.
    """
    k = int(0)
    v = int(0)
    w = int(0)
    total = int(0)
    kept = int(0)
    m = int(middle) >> int(shift)
    n = int(0)
    while n < 6:
        w = (m * int(width_q8)) >> 8
        total = int(0)
        kept = int(0)
        k = int(0)
        while k < int(count):
            v = (int(values[k]) >> int(shift)) - m
            if v <= w * 3:
                if v > w:
                    v = w
                elif v + w < 0:
                    v = 0 - w
                total += v
                kept += 1
            k += 1
        if kept:
            m += total // kept
        n += 1
    return m
