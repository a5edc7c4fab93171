"""Power spectra of blocks of samples, two transforms of 512 samples in one, and what is summed from them."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import circle, fft

# Bins of 488.28 Hz: FIRST..FIRST + BINS - 1 are kept, 8.3 to 83.5 kHz.
BIN_MHZ = const(488281)
FIRST = const(17)
BINS = const(155)

# Twelve sub-bands of ten bins, 20.0 to 78.1 kHz: the first one's place among the kept bins.
BAND_FIRST = const(24)
BAND_BINS = const(10)
BANDS = const(12)
_BANDS_END = const(BAND_FIRST + BANDS * BAND_BINS)

# The samples' middle, and the buffer of the transform (curbtick_probe.dsp.fft).
_MID_CODE = const(2048)
_POINTS = const(512)
_WORDS = const(1024)
_BIAS = const(2097152)

# The window is Q15 and takes a code to 2: shifts by this, with half a step to round.
_WINDOW_BITS = const(14)
_WINDOW_ROUND = const(8192)

# A part up to 2**14 is squared as it is; where one of four is larger, all lose these bits first.
_PART_MOST = const(16384)
_PART_BITS = const(15)
_PART_DROP = const(6)

# Half the sum of the squares, in fine units (2**6) and in coarse ones (2**19, the parts having lost 2 * 6 bits).
_FINE_SHIFT = const(7)
_FINE_ROUND = const(64)
_COARSE_SHIFT = const(8)

# A power with this bit is in coarse units, 2**COARSE_BITS fine ones each; as a fine one it counts this at most.
COARSE_BIT = const(29)
COARSE = const(1 << COARSE_BIT)
COARSE_BITS = const(13)
_COARSE_MOST = const(1024)

# Words of one segment's sums, BINS each.
COARSE_SUMS = const(BINS)
COUNTS = const(2 * BINS)
CLIPPED = const(3 * BINS)
SUMS = const(4 * BINS)

# Logarithms to base 2 are Q10 (curbtick_probe.dsp.level); 16 of base 2 are 4816.5 hundredths of a dB.
_CDB_NUMERATOR = const(30103)
_CDB_DENOMINATOR = const(102400)
_POINT_BITS = const(10)
_SIXTEEN_BITS = const(14)
_SIXTEEN = const(1 << _SIXTEEN_BITS)
_SIXTEEN_CDB = const(4816)


def window() -> "array.array[int]":
    """Return the Hann window of 512 points, 0..32768, from exact cosines."""
    turn = circle.circle(fft.POINTS, fft.TURNS, 16384, 16384)
    return array.array("H", (32768 - turn[k + fft.QUARTER] for k in range(fft.POINTS)))


@micropython.viper
def pair(x: ptr16, buf: ptr32, order: ptr16, window: ptr16):
    """Window both halves of a block, as real and imaginary part, into the buffer's bit-reversed places.

    x: BLOCK samples 0..4095. buf: 1024 words, plus 2**21. order: from fft.order. window: from `window`.

    Q format: window Q15, values kept at 2**-14, so one code is 2. Range: each part |.| <= 2**12; the magnitudes sum to
    256 * 2**12.5 = 2**20.5, as fft.fft asks. Headroom: 2**11 * 2**15 = 2**26.
    """
    k = int(0)
    o = int(0)
    w = int(0)
    while k < _POINTS:
        w = window[k]
        o = order[k]
        buf[o] = (((x[k] - _MID_CODE) * w + _WINDOW_ROUND) >> _WINDOW_BITS) + _BIAS
        buf[o + 1] = (((x[k + _POINTS] - _MID_CODE) * w + _WINDOW_ROUND) >> _WINDOW_BITS) + _BIAS
        k += 1


@micropython.viper
def powers(buf: ptr32, out: ptr32):
    """Write each kept bin's power of both halves together, in coarse units and marked so where it is large.

    buf: a spectrum of fft of a `pair`. out: BINS words. The bins k and 512 - k of the joint transform hold the
    halves' spectra X and Y as X + jY and its mirror, so that (|Z(k)|**2 + |Z(512 - k)|**2) / 2 = |X|**2 + |Y|**2.

    Q format: fine unit 2**6, coarse unit 2**19 of a squared part. Range: fine <= 2**23, coarse <= 2**22.2.
    Headroom: fine, two squares below 2**28 each; coarse, parts at 2**-6, |Z| below 2**14.6: squares below 2**29.2.
    """
    k = int(0)
    i = int(0)
    p = int(0)
    q = int(0)
    r = int(0)
    s = int(0)
    while k < BINS:
        i = (k + FIRST) << 1
        p = buf[i] - _BIAS
        q = buf[i + 1] - _BIAS
        i = _WORDS - i
        r = buf[i] - _BIAS
        s = buf[i + 1] - _BIAS
        if ((p + _PART_MOST) | (q + _PART_MOST) | (r + _PART_MOST) | (s + _PART_MOST)) >> _PART_BITS:
            p >>= _PART_DROP
            q >>= _PART_DROP
            r >>= _PART_DROP
            s >>= _PART_DROP
            out[k] = (((p * p + q * q) >> _COARSE_SHIFT) + ((r * r + s * s) >> _COARSE_SHIFT)) | COARSE
        else:
            out[k] = ((p * p + q * q + _FINE_ROUND) >> _FINE_SHIFT) + (
                (r * r + s * s + _FINE_ROUND) >> _FINE_SHIFT
            )
        k += 1


@micropython.viper
def bands(power: ptr32, rows: ptr32, at: int):
    """Write the energies of the BANDS sub-bands to rows[at] on.

    power: from `powers`. Q format: fine units. Range: a bin counts at most 2**23 (a band at -16 dBFS), a sub-band
    10 * 2**23 < 2**27. Headroom: the sum.
    """
    k = int(BAND_FIRST)
    n = int(0)
    v = int(0)
    total = int(0)
    o = int(at)
    while k < _BANDS_END:
        total = int(0)
        n = k + BAND_BINS
        while k < n:
            v = power[k]
            if v >> COARSE_BIT:
                v &= COARSE - 1
                if v > _COARSE_MOST:
                    v = int(_COARSE_MOST)
                v <<= COARSE_BITS
            total += v
            k += 1
        rows[o] = total
        o += 1


@micropython.viper
def clear(sums: ptr32, at: int):
    """Set the sums of the segment at `at` to zero. Q format: none. Range: 0. Headroom: none of it adds."""
    k = int(at)
    end = k + SUMS
    while k < end:
        sums[k] = 0
        k += 1


@micropython.viper
def gather(power: ptr32, limits: ptr32, sums: ptr32, at: int):
    """Add one block's powers to a segment's sums, and count the bins that stand above their limits.

    power: from `powers`. limits: BINS words, fine units, at most 2**22. sums: at `at`, BINS each of fine sums, coarse
    sums, counts, and sums of what is at most twice the limit, which single bursts leave alone.
    Q format: fine and coarse units. Range: over 16 blocks, fine and clipped <= 2**27, coarse < 2**26.2. Headroom: a
    coarse power compares as at most 1024 * 2**13 = 2**23.
    """
    k = int(0)
    o = int(at)
    v = int(0)
    w = int(0)
    while k < BINS:
        v = power[k]
        if v >> COARSE_BIT:
            v &= COARSE - 1
            sums[o + COARSE_SUMS] = sums[o + COARSE_SUMS] + v
            if v > _COARSE_MOST:
                v = int(_COARSE_MOST)
            v <<= COARSE_BITS
        else:
            sums[o] = sums[o] + v
        w = limits[k]
        if v > w:
            sums[o + COUNTS] = sums[o + COUNTS] + 1
            if v > w << 1:
                v = w << 1
        sums[o + CLIPPED] = sums[o + CLIPPED] + v
        k += 1
        o += 1


@micropython.viper
def total(sums: ptr32, out: ptr32, segments: int):
    """Add up the sums of `segments` segments, at most 5.

    Q format: fine and coarse units. Range: below 2**29.4. Headroom: the sums.
    """
    k = int(0)
    i = int(0)
    v = int(0)
    end = int(segments) * SUMS
    while k < SUMS:
        i = k
        v = int(0)
        while i < end:
            v += sums[i]
            i += SUMS
        out[k] = v
        k += 1


@micropython.viper
def mantissas(totals: ptr32, out: ptr32):
    """Write each bin's total power, at least 1: in coarse units where it has any, else in fine ones.

    totals: from `total`. out: BINS words.

    Q format: coarse or fine units. Range: 1..2**29.4. Headroom: the sum.
    """
    k = int(0)
    v = int(0)
    while k < BINS:
        v = totals[k]
        if totals[k + COARSE_SUMS]:
            v = totals[k + COARSE_SUMS] + (v >> COARSE_BITS)
        if v < 1:
            v = int(1)
        out[k] = v
        k += 1


@micropython.viper
def decibels(totals: ptr32, out: ptr32):
    """Turn logarithms of `mantissas` to base 2 into 1000 * log10 of fine units.

    totals: from `total`. out: BINS words, Q10.

    Q format: hundredths of a dB. Range: 0..13000. Headroom: of the logarithm in Q10, what is below 16 times 30103:
    below 2**29; each 16 above are 4816.5.
    """
    k = int(0)
    v = int(0)
    while k < BINS:
        v = out[k]
        if totals[k + COARSE_SUMS]:
            v += COARSE_BITS << _POINT_BITS
        part = (v & (_SIXTEEN - 1)) * _CDB_NUMERATOR // _CDB_DENOMINATOR
        out[k] = part + (v >> _SIXTEEN_BITS) * _SIXTEEN_CDB + (v >> (_SIXTEEN_BITS + 1))
        k += 1
