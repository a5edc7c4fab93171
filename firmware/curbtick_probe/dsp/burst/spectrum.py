"""Windowed 16-point spectra of the baseband, frame by frame, in two radix-4 stages."""

import micropython
from micropython import const

POINTS = const(16)
HOP = const(8)
FRAME_US = const(128)
BINS = const(13)

# Bin k of a frame lies at FIRST_BIN_HZ + k * 3906.25 Hz: 31.25 to 78.125 kHz.
FIRST_BIN_HZ = const(31250)


@micropython.viper
def stage_one(z: ptr16, y: ptr16, c: int, at: int, frames: int):
    """Window each frame and take its first radix-4 stage with twiddles.

    z: baseband halfwords (see baseband.fold); frame j holds the 16 complex values from index at + 8 * j on.
    y: 32 halfwords a frame, offset by 32768, ordered [k1][n2]. c: spare, any value.
    One passage of four butterflies, for speed: Hann weights 0, 1, 5, 10, 16, 22, 27, 31, 32, 31, ... (Q5), twiddles 64,
    59, 45, 24, 0 (Q6). Halfwords are taken as they are, offset and all: what 32768 adds to a sum is in its constant.

    Q format: Hann Q5 and twiddle Q6 in, sums kept, rounded, at 2**-8 of the product with the window.
    Range: |y| <= 15200. Headroom: window sums <= (10 + 32 + 22) * 65535 = 4.2e6; twiddle products, with their
    constants of up to 6.1e8, < 6.1e8 + 2 * 59 * 4.2e6 = 1.1e9 < 2**31.
    """
    z = ptr16(uint(z) + (at << 2))
    ar = int(0)
    ai = int(0)
    while frames:
        sr = z[16] << 5
        c = z[24] << 4
        br = z[8] << 4
        e = br + c
        br -= c
        y[0] = (sr + e + 6291584) >> 8
        tr = sr - e
        si = z[17] << 5
        c = z[25] << 4
        bi = z[9] << 4
        e = bi + c
        bi -= c
        y[1] = (si + e + 6291584) >> 8
        ti = si - e
        y[16] = (tr + 8388736) >> 8
        y[17] = (ti + 8388736) >> 8
        tr = bi - sr
        ti = 0 - si - br
        y[8] = (tr + 9437312) >> 8
        y[9] = (ti + 9437312) >> 8
        tr = 0 - sr - bi
        ti = br - si
        y[24] = (tr + 9437312) >> 8
        y[25] = (ti + 9437312) >> 8
        c = z[18] * 31
        ar = z[2]
        sr = ar + c
        ar -= c
        c = z[26] * 10
        br = z[10] * 22
        e = br + c
        br -= c
        y[2] = (sr + e + 6291584) >> 8
        tr = sr - e
        c = z[19] * 31
        ai = z[3]
        si = ai + c
        ai -= c
        c = z[27] * 10
        bi = z[11] * 22
        e = bi + c
        bi -= c
        y[3] = (si + e + 6291584) >> 8
        ti = si - e
        y[18] = ((tr + ti) * 45 + 536879104) >> 14
        y[19] = ((ti - tr) * 45 + 536879104) >> 14
        tr = ar + bi
        ti = ai - br
        y[10] = (tr * 59 + ti * 24 + 604708864) >> 14
        y[11] = (ti * 59 - tr * 24 + 603922432) >> 14
        tr = ar - bi
        ti = ai + br
        y[26] = (ti * 59 + tr * 24 + 604708864) >> 14
        y[27] = (ti * 24 - tr * 59 + 469835776) >> 14
        c = z[20] * 27
        ar = z[4] * 5
        sr = ar + c
        ar -= c
        c = z[28] * 5
        br = z[12] * 27
        e = br + c
        br -= c
        y[4] = (sr + e + 6291584) >> 8
        tr = sr - e
        c = z[21] * 27
        ai = z[5] * 5
        si = ai + c
        ai -= c
        c = z[29] * 5
        bi = z[13] * 27
        e = bi + c
        bi -= c
        y[5] = (si + e + 6291584) >> 8
        ti = si - e
        y[20] = (ti + 8388736) >> 8
        y[21] = (8388736 - tr) >> 8
        tr = ar + bi
        ti = ai - br
        y[12] = ((tr + ti) * 45 + 601759744) >> 14
        y[13] = ((ti - tr) * 45 + 601759744) >> 14
        tr = ar - bi
        ti = ai + br
        y[28] = ((ti - tr) * 45 + 471998464) >> 14
        y[29] = (471998464 - (tr + ti) * 45) >> 14
        c = z[22] * 22
        ar = z[6] * 10
        sr = ar + c
        ar -= c
        c = z[30]
        br = z[14] * 31
        e = br + c
        br -= c
        y[6] = (sr + e + 6291584) >> 8
        tr = sr - e
        c = z[23] * 22
        ai = z[7] * 10
        si = ai + c
        ai -= c
        c = z[31]
        bi = z[15] * 31
        e = bi + c
        bi -= c
        y[7] = (si + e + 6291584) >> 8
        ti = si - e
        y[22] = ((ti - tr) * 45 + 536879104) >> 14
        y[23] = (536879104 - (tr + ti) * 45) >> 14
        tr = ar + bi
        ti = ai - br
        y[14] = (ti * 59 + tr * 24 + 603922432) >> 14
        y[15] = (ti * 24 - tr * 59 + 604708864) >> 14
        tr = ar - bi
        ti = ai + br
        y[30] = (469835776 - ti * 24 - tr * 59) >> 14
        y[31] = (tr * 24 - ti * 59 + 604708864) >> 14
        z = ptr16(uint(z) + 32)
        y = ptr16(uint(y) + 64)
        frames -= 1


@micropython.viper
def stage_two(y: ptr16, power: ptr32, ar: int, frames: int):
    """Second radix-4 stage of each frame: the powers of its 13 bins, in frequency order.

    y: from stage_one. power: 16 words a frame, |X|**2, 31.25 kHz first; the last three are left as they are.
    ar: spare, any value.

    Q format: integer; a full-scale sine on a bin gives 14844**2. Range: |X| <= 21200, so power <= 4.5e8 for any
    stream of codes: what a rail-to-rail frame with each sample's sign chosen for the bin reaches. Headroom: sums of
    four halfwords < 2**18 in intermediate, squares as the range.
    """
    while frames:
        n = int(4)
        while n:
            sr = y[0] + y[4]
            si = y[1] + y[5]
            br = y[2] + y[6]
            bi = y[3] + y[7]
            ar = sr + br - 131072
            ai = si + bi - 131072
            power[8] = ar * ar + ai * ai
            ar = sr - br
            ai = si - bi
            power[0] = ar * ar + ai * ai
            ar = y[0] - y[4]
            ai = y[1] - y[5]
            br = y[2] - y[6]
            bi = y[3] - y[7]
            if n == 4:
                sr = ar + bi
                si = ai - br
                power[12] = sr * sr + si * si
            ar -= bi
            ai += br
            power[4] = ar * ar + ai * ai
            y = ptr16(uint(y) + 16)
            power = ptr32(uint(power) + 4)
            n -= 1
        power = ptr32(uint(power) + 48)
        frames -= 1
