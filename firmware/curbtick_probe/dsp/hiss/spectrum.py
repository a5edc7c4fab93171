"""Power spectra of blocks of samples, two transforms of 512 samples in one, and what is summed from them."""

import array

import micropython
from micropython import const

from curbtick_probe.dsp import circle

RATE_HZ = const(250000)
BLOCK = const(1024)

# Bins of 488.28 Hz: FIRST..FIRST + BINS - 1 are kept, 8.3 to 83.5 kHz.
BIN_MHZ = const(488281)
FIRST = const(17)
BINS = const(155)

# Twelve sub-bands of ten bins, 20.0 to 78.1 kHz: the first one's place among the kept bins.
BAND_FIRST = const(24)
BAND_BINS = const(10)
BANDS = const(12)

# A power with this bit is in coarse units, 2**COARSE_BITS fine ones each.
COARSE = const(0x20000000)
COARSE_BITS = const(13)

# Words of one segment's sums, BINS each: fine, coarse, counts, clipped.
SUMS = const(620)
CLIPPED = const(465)


def window():
    """Return the Hann window of 512 points, 0..32768, from exact cosines."""
    turn = circle.circle(512, 640, 16384, 16384)
    return array.array("H", (32768 - turn[k + 128] for k in range(512)))


@micropython.viper
def pair(x: ptr16, buf: ptr32, order: ptr16, window: ptr16):
    """Window both halves of a block, as real and imaginary part, into the buffer's bit-reversed places.

    x: BLOCK samples 0..4095. buf: 1024 words, plus 2**21. order: from tone_fft.order. window: from `window`.

    Q format: window Q15, values kept at 2**-14, so one code is 2. Range: each part |.| <= 2**12; the magnitudes sum to
    256 * 2**12.5 = 2**20.5, as tone_fft.fft asks. Headroom: 2**11 * 2**15 = 2**26.
    """
    k = int(0)
    o = int(0)
    w = int(0)
    while k < 512:
        w = int(window[k])
        o = int(order[k])
        buf[o] = (((int(x[k]) - 2048) * w + 8192) >> 14) + 2097152
        buf[o + 1] = (((int(x[k + 512]) - 2048) * w + 8192) >> 14) + 2097152
        k += 1


@micropython.viper
def powers(buf: ptr32, out: ptr32):
    """Write each kept bin's power of both halves together, in coarse units and marked so where it is large.

    buf: a spectrum of tone_fft of a `pair`. out: BINS words. The bins k and 512 - k of the joint transform hold the
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
    while k < 155:
        i = (k + 17) << 1
        p = int(buf[i]) - 2097152
        q = int(buf[i + 1]) - 2097152
        i = 1024 - i
        r = int(buf[i]) - 2097152
        s = int(buf[i + 1]) - 2097152
        if ((p + 16384) | (q + 16384) | (r + 16384) | (s + 16384)) >> 15:
            p >>= 6
            q >>= 6
            r >>= 6
            s >>= 6
            out[k] = (((p * p + q * q) >> 8) + ((r * r + s * s) >> 8)) | 0x20000000
        else:
            out[k] = ((p * p + q * q + 64) >> 7) + ((r * r + s * s + 64) >> 7)
        k += 1


@micropython.viper
def bands(power: ptr32, rows: ptr32, at: int):
    """Write the energies of the BANDS sub-bands to rows[at] on.

    power: from `powers`. Q format: fine units. Range: a bin counts at most 2**23 (a band at -16 dBFS), a sub-band
    10 * 2**23 < 2**27. Headroom: the sum.
    """
    k = int(24)
    n = int(0)
    v = int(0)
    total = int(0)
    o = int(at)
    while k < 144:
        total = int(0)
        n = k + 10
        while k < n:
            v = int(power[k])
            if v >> 29:
                v &= 0x1FFFFFFF
                if v > 1024:
                    v = int(1024)
                v <<= 13
            total += v
            k += 1
        rows[o] = total
        o += 1


@micropython.viper
def clear(sums: ptr32, at: int):
    """Set the sums of the segment at `at` to zero. Q format: none. Range: 0. Headroom: none of it adds."""
    k = int(at)
    end = k + 620
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
    while k < 155:
        v = int(power[k])
        if v >> 29:
            v &= 0x1FFFFFFF
            sums[o + 155] = int(sums[o + 155]) + v
            if v > 1024:
                v = int(1024)
            v <<= 13
        else:
            sums[o] = int(sums[o]) + v
        w = int(limits[k])
        if v > w:
            sums[o + 310] = int(sums[o + 310]) + 1
            if v > w << 1:
                v = w << 1
        sums[o + 465] = int(sums[o + 465]) + v
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
    end = int(segments) * 620
    while k < 620:
        i = k
        v = int(0)
        while i < end:
            v += int(sums[i])
            i += 620
        out[k] = v
        k += 1


@micropython.viper
def logs(totals: ptr32, out: ptr32):
    """Write 1000 * log10 of each bin's total power in fine units. totals: from `total`.

    Q format: hundredths of a dB. Range: 0..13000. Headroom: log2 below 30720 in Q10, times 30103: below 2**30.
    """
    k = int(0)
    m = int(0)
    whole = int(0)
    part = int(0)
    bit = int(0)
    while k < 155:
        m = int(totals[k])
        whole = int(14)
        if int(totals[k + 155]):
            m = int(totals[k + 155]) + (m >> 13)
            whole = int(27)
        if m < 1:
            m = int(1)
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
        part += (whole & 15) << 10
        whole >>= 4
        out[k] = part * 30103 // 102400 + whole * 4816 + (whole >> 1)
        k += 1
