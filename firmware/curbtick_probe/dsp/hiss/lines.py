"""Steady lines in an averaged spectrum, what is left without them, and the centre of a band's energies."""

import micropython
from micropython import const

# The words of sums (curbtick_probe.dsp.hiss.spectrum), and sub-bands in a row.
_BINS = const(155)
_COUNTS = const(310)
_CLIPPED = const(465)
_SUMS = const(620)
_BANDS = const(12)

# Both sides of a bin: the six bins from three to eight away, beyond what a Hann window spreads a line over.
_NEAR = const(3)
_FAR = const(8)
_SIDE_BINS = const(6)
_SIDE_DROP = const(3)

# Peaks are looked for where both sides have neighbours: 12.2 to 79.6 kHz.
_PEAK_FIRST = const(_FAR)
_PEAK_END = const(_BINS - _FAR)

# The highest limit, in fine units; a limit is that of a mean at 2**-3, doubled.
LIMIT_MOST = const(4194304)
_LIMIT_SHIFT = const(4)

# Sums of what is left are taken at 2**-6, so that those of 40 bins fit.
_LEFT_DROP = const(6)

# Ratios are Q7 up to 2**20, of a number brought below 2**22.
_NOW_MOST = const(4194303)
_RATIO_BITS = const(7)
_RATIO_MOST = const(1048576)

# Huber's estimate settles within so many steps; what is three widths above it is a knock.
_STEPS = const(6)
_KNOCK_WIDTHS = const(3)


@micropython.viper
def limits(totals: ptr32, out: ptr32, blocks: int):
    """Write twice the mean power of a block beside each bin: of the six bins 3 to 8 away, the higher side's.

    totals: from spectrum.total over `blocks` blocks, 1..80; its clipped sums count. out: BINS words.
    Q format: fine units. Range: out <= 2**22. Headroom: six sums at 2**-3 below 2**29; side / (6 * blocks) * 16.
    """
    k = int(0)
    i = int(0)
    end = int(0)
    side = int(0)
    most = int(0)
    n = int(0)
    while k < _BINS:
        most = int(0)
        n = int(0)
        while n < 2:
            i = k + (_CLIPPED - _FAR)
            if n:
                i = k + (_CLIPPED + _NEAR)
            end = i + _SIDE_BINS
            side = int(0)
            while i < end:
                if i > _CLIPPED - 1:
                    if i < _SUMS:
                        side += totals[i] >> _SIDE_DROP
                i += 1
            if side > most:
                most = side
            n += 1
        n = most // (int(blocks) * _SIDE_BINS)
        if n > LIMIT_MOST >> _LIMIT_SHIFT:
            n = int(LIMIT_MOST >> _LIMIT_SHIFT)
        out[k] = n << _LIMIT_SHIFT
        k += 1


@micropython.viper
def peaks(logs: ptr32, totals: ptr32, found: ptr32, over_least: int, rise_cdb: int, most: int) -> int:
    """Find the bins that stand out of both sides in the mean and above their limits most of the time; return how many.

    logs: from spectrum.logs. totals: from spectrum.total. over_least: blocks that must have exceeded the
    limit. rise_cdb: least height above the mean logarithm of each side's bins 3 to 8 away. found: at least `most`
    words, the bins from low to high. Q format: hundredths of a dB. Range: bins 8..146. Headroom: six logarithms below
    2**17.
    """
    k = int(_PEAK_FIRST)
    i = int(0)
    n = int(0)
    low = int(0)
    high = int(0)
    while k < _PEAK_END:
        if totals[k + _COUNTS] >= int(over_least):
            if logs[k] >= logs[k - 1]:
                if logs[k] > logs[k + 1]:
                    low = int(0)
                    high = int(0)
                    i = int(_NEAR)
                    while i < _FAR + 1:
                        low += logs[k - i]
                        high += logs[k + i]
                        i += 1
                    if high > low:
                        low = high
                    if (logs[k] - int(rise_cdb)) * _SIDE_BINS > low:
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
    while k < _BINS:
        mask[k] = 0
        k += 1
    while n < int(count):
        k = bins[n] - int(reach)
        end = bins[n] + int(reach)
        while k <= end:
            if k >= 0:
                if k < _BINS:
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
        if mask[k] == 0:
            rest += totals[k + _CLIPPED] >> _LEFT_DROP
        k += 1
    return rest


@micropython.viper
def ratios(now: ptr32, before: ptr32, out: ptr32, first: int, last: int):
    """Write now / before of the clipped totals of bins first..last, in 128ths, at most 2**20.

    Q format: Q7. Range: 0..2**20. Headroom: now is brought below 2**22 with `before` beside it, then times 2**7.
    """
    k = int(first) + _CLIPPED
    i = int(0)
    n = int(0)
    d = int(0)
    end = int(last) + _CLIPPED
    while k <= end:
        n = now[k]
        d = before[k]
        while n > _NOW_MOST:
            n >>= 1
            d >>= 1
        if d < 1:
            d = int(1)
        n = (n << _RATIO_BITS) // d
        if n > _RATIO_MOST:
            n = int(_RATIO_MOST)
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
            v += rows[i]
            i += 1
        out[k] = v
        k += 1
        row += _BANDS


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
        v = values[k]
        rank = int(0)
        i = int(0)
        while i < int(count):
            if values[i] < v:
                rank += 1
            elif values[i] == v:
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
    while n < _STEPS:
        w = (m * int(width_q8)) >> 8
        total = int(0)
        kept = int(0)
        k = int(0)
        while k < int(count):
            v = (values[k] >> int(shift)) - m
            if v <= w * _KNOCK_WIDTHS:
                if v > w:
                    v = w
                elif v + w < 0:
                    v = -w
                total += v
                kept += 1
            k += 1
        if kept:
            m += total // kept
        n += 1
    return m
