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

# Four halfwords' offsets; the columns of the second stage, of which each fills a word in each row of a frame's powers.
_FOUR_ZEROS = const(4 * _ZERO)
_COLUMNS = const(4)
_ROW = const(4)


@micropython.viper
def stage_one(z: ptr16, y: ptr16, at: int, frames: int):
    """Window each frame and take its first radix-4 stage with twiddles.

    z: baseband halfwords (see baseband.fold); frame j holds the 16 complex values from index at + 8 * j on.
    y: 32 halfwords a frame, offset by 32768, ordered [k1][n2].
    Four butterflies, each written out for speed: Hann weights 0, 1, 5, 10, 16, 22, 27, 31, 32, 31, ... (Q5), twiddles
    64, 59, 45, 24, 0 (Q6). Each sum begins with a product that is made anew, which is quicker than loading two from the
    stack. Halfwords are taken as they are, offset and all: what 32768 adds to a sum is in its constant.

    Q format: Hann Q5 and twiddle Q6 in, sums kept, rounded, at 2**-8 of the product with the window.
    Range: |y| <= 15200. Headroom: window sums <= (10 + 32 + 22) * 65535 = 4.2e6; twiddle products, with their
    constants of up to 6.1e8, < 6.1e8 + 2 * 59 * 4.2e6 = 1.1e9 < 2**31.
    """
    z = ptr16(uint(z) + (at << 2))
    while frames:
        # Butterfly 0: its first weight is 0, and it turns by nothing.
        br = z[8] << 4
        bi = z[9] << 4
        cr = z[16] << 5
        ci = z[17] << 5
        dr = z[24] << 4
        di = z[25] << 4
        y[0] = ((z[16] << 5) + br + dr + _OUT_LESS_64) >> _WINDOW_BITS
        y[1] = ((z[17] << 5) + bi + di + _OUT_LESS_64) >> _WINDOW_BITS
        y[16] = ((z[16] << 5) - br - dr + _OUT) >> _WINDOW_BITS
        y[17] = ((z[17] << 5) - bi - di + _OUT) >> _WINDOW_BITS
        y[8] = ((z[9] << 4) - di - cr + _OUT_AND_32) >> _WINDOW_BITS
        y[9] = ((z[24] << 4) - br - ci + _OUT_AND_32) >> _WINDOW_BITS
        y[24] = ((z[25] << 4) - bi - cr + _OUT_AND_32) >> _WINDOW_BITS
        y[25] = ((z[8] << 4) - dr - ci + _OUT_AND_32) >> _WINDOW_BITS
        # Butterfly 1. Its first weight is 1, multiplied all the same: so its sums begin with a product, too.
        br = z[10] * 22
        bi = z[11] * 22
        cr = z[18] * 31
        ci = z[19] * 31
        dr = z[26] * 10
        di = z[27] * 10
        y[2] = (z[2] * 1 + br + cr + dr + _OUT_LESS_64) >> _WINDOW_BITS
        y[3] = (z[3] * 1 + bi + ci + di + _OUT_LESS_64) >> _WINDOW_BITS
        tr = z[2] * 1 + cr - br - dr
        ti = z[3] * 1 + ci - bi - di
        y[18] = ((tr + ti) * 45 + _TURNED) >> _TWIDDLE_BITS
        y[19] = ((ti - tr) * 45 + _TURNED) >> _TWIDDLE_BITS
        tr = z[2] * 1 + bi - cr - di
        ti = z[3] * 1 + dr - ci - br
        y[10] = (tr * 59 + ti * 24 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        y[11] = (ti * 59 - tr * 24 + _TURNED_AND_2046) >> _TWIDDLE_BITS
        tr = z[2] * 1 + di - cr - bi
        ti = z[3] * 1 + br - ci - dr
        y[26] = (ti * 59 + tr * 24 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        y[27] = (ti * 24 - tr * 59 + _TURNED_LESS_2046) >> _TWIDDLE_BITS
        # Butterfly 2.
        br = z[12] * 27
        bi = z[13] * 27
        cr = z[20] * 27
        ci = z[21] * 27
        dr = z[28] * 5
        di = z[29] * 5
        y[4] = (z[4] * 5 + br + cr + dr + _OUT_LESS_64) >> _WINDOW_BITS
        y[5] = (z[5] * 5 + bi + ci + di + _OUT_LESS_64) >> _WINDOW_BITS
        y[20] = (z[5] * 5 + ci - bi - di + _OUT) >> _WINDOW_BITS
        y[21] = (z[12] * 27 + dr - cr - z[4] * 5 + _OUT) >> _WINDOW_BITS
        tr = z[4] * 5 + bi - cr - di
        ti = z[5] * 5 + dr - ci - br
        y[12] = ((tr + ti) * 45 + _TURNED_AND_1980) >> _TWIDDLE_BITS
        y[13] = ((ti - tr) * 45 + _TURNED_AND_1980) >> _TWIDDLE_BITS
        tr = z[4] * 5 + di - cr - bi
        ti = z[5] * 5 + br - ci - dr
        y[28] = ((ti - tr) * 45 + _TURNED_LESS_1980) >> _TWIDDLE_BITS
        y[29] = (_TURNED_LESS_1980 - (tr + ti) * 45) >> _TWIDDLE_BITS
        # Butterfly 3.
        br = z[14] * 31
        bi = z[15] * 31
        cr = z[22] * 22
        ci = z[23] * 22
        dr = z[30]
        di = z[31]
        y[6] = (z[6] * 10 + br + cr + dr + _OUT_LESS_64) >> _WINDOW_BITS
        y[7] = (z[7] * 10 + bi + ci + di + _OUT_LESS_64) >> _WINDOW_BITS
        tr = z[6] * 10 + cr - br - dr
        ti = z[7] * 10 + ci - bi - di
        y[22] = ((ti - tr) * 45 + _TURNED) >> _TWIDDLE_BITS
        y[23] = (_TURNED - (tr + ti) * 45) >> _TWIDDLE_BITS
        tr = z[6] * 10 + bi - cr - di
        ti = z[7] * 10 + dr - ci - br
        y[14] = (ti * 59 + tr * 24 + _TURNED_AND_2046) >> _TWIDDLE_BITS
        y[15] = (ti * 24 - tr * 59 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        tr = z[6] * 10 + di - cr - bi
        ti = z[7] * 10 + br - ci - dr
        y[30] = (_TURNED_LESS_2046 - ti * 24 - tr * 59) >> _TWIDDLE_BITS
        y[31] = (tr * 24 - ti * 59 + _TURNED_AND_2070) >> _TWIDDLE_BITS
        z = ptr16(uint(z) + _HOP_BYTES)
        y = ptr16(uint(y) + _FRAME_BYTES)
        frames -= 1


@micropython.viper
def stage_two(y: ptr16, part: int, power: ptr32, frames: int):
    """Second radix-4 stage of each frame: the powers of its 13 bins, in frequency order.

    y: from stage_one; a column has four complex values. part: spare, any value. power: 16 words a frame, |X|**2,
    31.25 kHz first; the last three are left as they are.
    Each sum is added up anew in a register, which is quicker than keeping on the stack what two of them share.

    Q format: integer; a full-scale sine on a bin gives 14844**2. Range: |X| <= 21200, so power <= 4.5e8 for any
    stream of codes: what a rail-to-rail frame with each sample's sign chosen for the bin reaches. Headroom: sums of
    four halfwords < 2**18 in intermediate, squares as the range.
    """
    while frames:
        # Of the last row only the first bin is kept.
        part = y[0]
        part = part - y[4] + y[3] - y[7]
        square = part * part
        part = y[1]
        part = part - y[5] - y[2] + y[6]
        power[3 * _ROW] = part * part + square
        n = int(_COLUMNS)
        while n:
            part = y[0]
            part = part + y[4] + y[2] + y[6] - _FOUR_ZEROS
            square = part * part
            part = y[1]
            part = part + y[5] + y[3] + y[7] - _FOUR_ZEROS
            power[2 * _ROW] = part * part + square
            part = y[0]
            part = part + y[4] - y[2] - y[6]
            square = part * part
            part = y[1]
            part = part + y[5] - y[3] - y[7]
            power[0] = part * part + square
            part = y[0]
            part = part - y[4] - y[3] + y[7]
            square = part * part
            part = y[1]
            part = part - y[5] + y[2] - y[6]
            power[_ROW] = part * part + square
            y = ptr16(uint(y) + 4 * _PART_BYTES)
            power = ptr32(uint(power) + _PART_BYTES)
            n -= 1
        power = ptr32(uint(power) + (_FRAME_BYTES - 4 * _PART_BYTES))
        frames -= 1
