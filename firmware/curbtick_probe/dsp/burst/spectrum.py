"""Windowed 16-point spectra of the baseband, frame by frame, in two radix-4 stages."""

import micropython
from micropython import const

# A frame has 16 values, of which 8 are new.
HOP = const(8)
FRAME_US = const(128)
BINS = const(13)

# Bin k of a frame lies at 31.25 kHz + k * 3906.25 Hz, up to 78.125 kHz. So bin CENTRE_BIN is the baseband's 0.
CENTRE_BIN = const(8)

# Bytes: of HOP values, of a frame's halfwords between the stages and of its powers, of a pair of halfwords.
_HOP_BYTES = const(4 * HOP)
_FRAME_BYTES = const(64)
_PART_BYTES = const(4)

# Halfwords carry this offset. What stage_one's weights make of it in a sum is taken out again by the sum's constant:
# window sums weigh it by 64 in all where they add and by 32 where they subtract, twiddle products by the differences
# of weights times twiddles. Constants are rounded, at 2**-8 and, with a twiddle, at 2**-14.
_ZERO = const(32768)
_WINDOW_BITS = const(8)
_TWIDDLE_BITS = const(14)
_OUT = const((_ZERO << _WINDOW_BITS) + 128)
_OUT_LESS_64 = const(_OUT - 64 * _ZERO)
_OUT_AND_32 = const(_OUT + 32 * _ZERO)
_TURNED = const((_ZERO << _TWIDDLE_BITS) + 8192)
_TURNED_AND_2070 = const(_TURNED + 2070 * _ZERO)
_TURNED_AND_2046 = const(_TURNED + 2046 * _ZERO)
_TURNED_LESS_2046 = const(_TURNED - 2046 * _ZERO)
_TURNED_AND_1980 = const(_TURNED + 1980 * _ZERO)
_TURNED_LESS_1980 = const(_TURNED - 1980 * _ZERO)

# Four halfwords' offsets, and the words of a frame's powers that a column of the second stage fills.
_FOUR_ZEROS = const(4 * _ZERO)
_COLUMNS = const(4)


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
        y[0] = (sr + e + _OUT_LESS_64) >> _WINDOW_BITS
        tr = sr - e
        si = z[17] << 5
        c = z[25] << 4
        bi = z[9] << 4
        e = bi + c
        bi -= c
        y[1] = (si + e + _OUT_LESS_64) >> _WINDOW_BITS
        ti = si - e
        y[16] = (tr + _OUT) >> _WINDOW_BITS
        y[17] = (ti + _OUT) >> _WINDOW_BITS
        tr = bi - sr
        ti = 0 - si - br
        y[8] = (tr + _OUT_AND_32) >> _WINDOW_BITS
        y[9] = (ti + _OUT_AND_32) >> _WINDOW_BITS
        tr = 0 - sr - bi
        ti = br - si
        y[24] = (tr + _OUT_AND_32) >> _WINDOW_BITS
        y[25] = (ti + _OUT_AND_32) >> _WINDOW_BITS
        c = z[18] * 31
        ar = z[2]
        sr = ar + c
        ar -= c
        c = z[26] * 10
        br = z[10] * 22
        e = br + c
        br -= c
        y[2] = (sr + e + _OUT_LESS_64) >> _WINDOW_BITS
        tr = sr - e
        c = z[19] * 31
        ai = z[3]
        si = ai + c
        ai -= c
        c = z[27] * 10
        bi = z[11] * 22
        e = bi + c
        bi -= c
        y[3] = (si + e + _OUT_LESS_64) >> _WINDOW_BITS
        ti = si - e
        y[18] = ((tr + ti) * 45 + _TURNED) >> _TWIDDLE_BITS
        y[19] = ((ti - tr) * 45 + _TURNED) >> _TWIDDLE_BITS
        tr = ar + bi
        ti = ai - br
        y[10] = (tr * 59 + ti * 24 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        y[11] = (ti * 59 - tr * 24 + _TURNED_AND_2046) >> _TWIDDLE_BITS
        tr = ar - bi
        ti = ai + br
        y[26] = (ti * 59 + tr * 24 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        y[27] = (ti * 24 - tr * 59 + _TURNED_LESS_2046) >> _TWIDDLE_BITS
        c = z[20] * 27
        ar = z[4] * 5
        sr = ar + c
        ar -= c
        c = z[28] * 5
        br = z[12] * 27
        e = br + c
        br -= c
        y[4] = (sr + e + _OUT_LESS_64) >> _WINDOW_BITS
        tr = sr - e
        c = z[21] * 27
        ai = z[5] * 5
        si = ai + c
        ai -= c
        c = z[29] * 5
        bi = z[13] * 27
        e = bi + c
        bi -= c
        y[5] = (si + e + _OUT_LESS_64) >> _WINDOW_BITS
        ti = si - e
        y[20] = (ti + _OUT) >> _WINDOW_BITS
        y[21] = (_OUT - tr) >> _WINDOW_BITS
        tr = ar + bi
        ti = ai - br
        y[12] = ((tr + ti) * 45 + _TURNED_AND_1980) >> _TWIDDLE_BITS
        y[13] = ((ti - tr) * 45 + _TURNED_AND_1980) >> _TWIDDLE_BITS
        tr = ar - bi
        ti = ai + br
        y[28] = ((ti - tr) * 45 + _TURNED_LESS_1980) >> _TWIDDLE_BITS
        y[29] = (_TURNED_LESS_1980 - (tr + ti) * 45) >> _TWIDDLE_BITS
        c = z[22] * 22
        ar = z[6] * 10
        sr = ar + c
        ar -= c
        c = z[30]
        br = z[14] * 31
        e = br + c
        br -= c
        y[6] = (sr + e + _OUT_LESS_64) >> _WINDOW_BITS
        tr = sr - e
        c = z[23] * 22
        ai = z[7] * 10
        si = ai + c
        ai -= c
        c = z[31]
        bi = z[15] * 31
        e = bi + c
        bi -= c
        y[7] = (si + e + _OUT_LESS_64) >> _WINDOW_BITS
        ti = si - e
        y[22] = ((ti - tr) * 45 + _TURNED) >> _TWIDDLE_BITS
        y[23] = (_TURNED - (tr + ti) * 45) >> _TWIDDLE_BITS
        tr = ar + bi
        ti = ai - br
        y[14] = (ti * 59 + tr * 24 + _TURNED_AND_2046) >> _TWIDDLE_BITS
        y[15] = (ti * 24 - tr * 59 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        tr = ar - bi
        ti = ai + br
        y[30] = (_TURNED_LESS_2046 - ti * 24 - tr * 59) >> _TWIDDLE_BITS
        y[31] = (tr * 24 - ti * 59 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        z = ptr16(uint(z) + _HOP_BYTES)
        y = ptr16(uint(y) + _FRAME_BYTES)
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
        n = int(_COLUMNS)
        while n:
            sr = y[0] + y[4]
            si = y[1] + y[5]
            br = y[2] + y[6]
            bi = y[3] + y[7]
            ar = sr + br - _FOUR_ZEROS
            ai = si + bi - _FOUR_ZEROS
            power[8] = ar * ar + ai * ai
            ar = sr - br
            ai = si - bi
            power[0] = ar * ar + ai * ai
            ar = y[0] - y[4]
            ai = y[1] - y[5]
            br = y[2] - y[6]
            bi = y[3] - y[7]
            if n == _COLUMNS:
                sr = ar + bi
                si = ai - br
                power[12] = sr * sr + si * si
            ar -= bi
            ai += br
            power[4] = ar * ar + ai * ai
            y = ptr16(uint(y) + 4 * _PART_BYTES)
            power = ptr32(uint(power) + _PART_BYTES)
            n -= 1
        power = ptr32(uint(power) + (_FRAME_BYTES - 4 * _PART_BYTES))
        frames -= 1
