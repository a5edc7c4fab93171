"""Windowed 16-point spectra of the baseband, frame by frame, in two radix-4 stages."""

import math

import micropython
from micropython import const

POINTS = const(16)
HOP = const(8)
FRAME_US = const(128)
BINS = const(13)

# Bin k of a frame lies at FIRST_BIN_HZ + k * 3906.25 Hz: 31.25 to 78.125 kHz.
FIRST_BIN_HZ = const(31250)


def window_table():
    """Return the 40 bytes that `stage_one` reads: for each n2 its four Hann weights and three twiddles.

    Weights are 0..32; a twiddle is cos and -sin of 2 pi n2 k1 / 16, Q6, offset by 64.
    """
    table = []
    for n in range(4):
        table += [round(16 - 16 * math.cos(math.pi * (n + 4 * m) / 8)) for m in range(4)]
        for k in range(1, 4):
            turn = math.pi * n * k / 8
            table += [64 + round(64 * math.cos(turn)), 64 - round(64 * math.sin(turn))]
    return bytes(table)


@micropython.viper
def stage_one(z: ptr16, y: ptr16, table: ptr8, at: int, frames: int):
    """Window each frame and take its first radix-4 stage with twiddles.

    z: baseband halfwords (see baseband.fold); frame j holds the 16 complex values from index at + 8 * j on.
    y: 32 halfwords a frame, offset by 32768, ordered [k1][n2]. table: from window_table.

    Q format: Hann Q5 and twiddle Q6 in, sums kept, rounded, at 2**-8 of the product with the window.
    Range: |y| <= 15200. Headroom: window sums <= (10 + 32 + 22) * 30240 = 1.94e6; twiddle products, with the offset
    of 2**29, < 2**29 + 2 * 64 * 1.94e6 = 7.9e8 < 2**30.
    """
    z = ptr16(uint(z) + (at << 2))
    while frames:
        n = int(4)
        while n:
            c = int(table[0])
            ar = (z[0] - 32768) * c
            ai = (z[1] - 32768) * c
            c = int(table[2])
            cr = (z[16] - 32768) * c
            ci = (z[17] - 32768) * c
            sr = ar + cr
            si = ai + ci
            ar -= cr
            ai -= ci
            c = int(table[1])
            br = (z[8] - 32768) * c
            bi = (z[9] - 32768) * c
            c = int(table[3])
            cr = (z[24] - 32768) * c
            ci = (z[25] - 32768) * c
            br += cr
            bi += ci
            y[0] = (sr + br + 8388736) >> 8
            y[1] = (si + bi + 8388736) >> 8
            sr -= br
            si -= bi
            br -= cr << 1
            bi -= ci << 1
            cr = table[6] - 64
            ci = table[7] - 64
            y[16] = (sr * cr - si * ci + 536879104) >> 14
            y[17] = (sr * ci + si * cr + 536879104) >> 14
            cr = table[4] - 64
            ci = table[5] - 64
            sr = ar + bi
            si = ai - br
            y[8] = (sr * cr - si * ci + 536879104) >> 14
            y[9] = (sr * ci + si * cr + 536879104) >> 14
            cr = table[8] - 64
            ci = table[9] - 64
            sr = ar - bi
            si = ai + br
            y[24] = (sr * cr - si * ci + 536879104) >> 14
            y[25] = (sr * ci + si * cr + 536879104) >> 14
            n -= 1
            table = ptr8(uint(table) + 10)
            z = ptr16(uint(z) + 4)
            y = ptr16(uint(y) + 4)
        table = ptr8(uint(table) - 40)
        z = ptr16(uint(z) + 16)
        y = ptr16(uint(y) + 48)
        frames -= 1


@micropython.viper
def stage_two(y: ptr16, power: ptr32, ar: int, frames: int):
    """Second radix-4 stage of each frame: the powers of its 16 bins, in frequency order.

    y: from stage_one. power: 16 words a frame, |X|**2, 31.25 kHz first; the last three lie beyond 80 kHz.
    ar: spare, any value.

    Q format: integer; a full-scale sine on a bin gives 14844**2. Range: |X| <= 30240, so power <= 9.2e8 < 2**30.
    Headroom: sums of four halfwords < 2**17 in intermediate, squares as the range.
    """
    while frames:
        n = int(4)
        while n:
            ar = y[0] - 32768
            ai = y[1] - 32768
            cr = y[4] - 32768
            ci = y[5] - 32768
            sr = ar + cr
            si = ai + ci
            ar -= cr
            ai -= ci
            br = y[2] - 32768
            bi = y[3] - 32768
            cr = y[6] - 32768
            ci = y[7] - 32768
            br += cr
            bi += ci
            dr = sr + br
            di = si + bi
            power[8] = dr * dr + di * di
            sr -= br
            si -= bi
            power[0] = sr * sr + si * si
            br -= cr << 1
            bi -= ci << 1
            dr = ar + bi
            di = ai - br
            power[12] = dr * dr + di * di
            ar -= bi
            ai += br
            power[4] = ar * ar + ai * ai
            y = ptr16(uint(y) + 16)
            power = ptr32(uint(power) + 4)
            n -= 1
        power = ptr32(uint(power) + 48)
        frames -= 1
