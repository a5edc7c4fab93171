"""One sound looked at closely: coherent sums over the best stretch, envelope, crossings, phase."""

import math

import micropython
from micropython import const

# Frequencies are tried in steps of 62.5 kHz / 64.
STEPS = const(64)
STEP_MHZ = const(976562)

# A coherent sum over m values of magnitude a is a * m * 127 / 8.
TURN_GAIN = 127 / 8


def turn_table():
    """Return 128 bytes: cos and sin of 2 pi n / 64 in turn, Q7 of at most 127, offset by 128."""
    table = []
    for n in range(64):
        table.append(128 + round(127 * math.cos(math.pi * n / 32)))
        table.append(128 + round(127 * math.sin(math.pi * n / 32)))
    return bytes(table)


@micropython.viper
def loudest_part(s: ptr16, top: int, v: int, count: int) -> int:
    """Return the largest |real| or |imaginary| part of `count` complex values. top, v: spare, any value.

    Q format: as baseband.fold. Range: 0..32768. Headroom: as the range.
    """
    top = int(0)
    count = count << 1
    while count > 0:
        v = s[0] - 32768
        if v < 0:
            v = 0 - v
        if v > top:
            top = v
        s = ptr16(uint(s) + 2)
        count -= 1
    return top


@micropython.viper
def rotate_sums(s: ptr16, turn: ptr8, sums: ptr32, count: int, step: int):
    """Turn the values back by step / 64 of a turn each and add them up.

    s: `count` complex values, offset by 32768. turn: from turn_table. sums: 2 * (count + 1) words: the sums of the
    first 0, 1, ... count turned values. step: 0..63. count: at most 512.

    Q format: Q4 of the values less 127/128. Range: |part| of one term <= (30240 * 127) / 8 + 1 = 480061, of a sum
    <= 512 * 480061 = 2.46e8 < 2**28. Headroom: products < 2 * 32768 * 127 < 2**24.
    """
    re = int(0)
    im = int(0)
    phase = int(0)
    sums[0] = 0
    sums[1] = 0
    while count > 0:
        at = phase << 1
        c = turn[at] - 128
        d = turn[at + 1] - 128
        zr = s[0] - 32768
        zi = s[1] - 32768
        re += (zr * c + zi * d) >> 3
        im += (zi * c - zr * d) >> 3
        sums = ptr32(uint(sums) + 8)
        sums[0] = re
        sums[1] = im
        phase = (phase + step) & 63
        s = ptr16(uint(s) + 4)
        count -= 1


@micropython.viper
def best_stretch(
    sums: ptr32, ahead: ptr32, re: int, out: ptr32, tries: int, span: int, shift: int, start: int
):
    """Find the stretch of `span` values whose coherent sum is largest, every second start tried.

    sums, ahead: the same words of rotate_sums. re: spare. tries: how many starts, the first at `start`. shift: takes
    a sum's parts below 2**14. out: the largest |sum >> shift|**2, its start.

    Q format: that of rotate_sums, shifted. Range: out[0] < 2**29. Headroom: differences below 2**29, which the
    extension of the sign relies on; squares below 2**28 each.
    """
    sums = ptr32(uint(sums) + (start << 3))
    ahead = ptr32(uint(sums) + (span << 3))
    top = int(0)
    top_at = int(0)
    n = int(0)
    while n < tries:
        re = ahead[0] - sums[0]
        re = (((re + 0x20000000) & 0x3FFFFFFF) - 0x20000000) >> shift
        im = ahead[1] - sums[1]
        im = (((im + 0x20000000) & 0x3FFFFFFF) - 0x20000000) >> shift
        re = re * re + im * im
        if re > top:
            top = re
            top_at = start + (n << 1)
        sums = ptr32(uint(sums) + 16)
        ahead = ptr32(uint(ahead) + 16)
        n += 1
    out[0] = top
    out[1] = top_at


@micropython.viper
def envelope(sums: ptr32, ahead: ptr32, re: int, e: ptr32, count: int, span: int, shift: int):
    """Squared magnitude of each coherent sum over `span` values: an envelope smoothed at the carrier.

    sums, ahead: the same words of rotate_sums. re: spare. e: `count` words; e[n] belongs to values n .. n + span - 1.
    shift: takes a sum's parts below 2**14.

    Q format: that of rotate_sums, shifted, squared. Range: e < 2**29. Headroom: as best_stretch.
    """
    ahead = ptr32(uint(ahead) + (span << 3))
    while count > 0:
        re = ahead[0] - sums[0]
        re = (((re + 0x20000000) & 0x3FFFFFFF) - 0x20000000) >> shift
        im = ahead[1] - sums[1]
        im = (((im + 0x20000000) & 0x3FFFFFFF) - 0x20000000) >> shift
        e[0] = re * re + im * im
        sums = ptr32(uint(sums) + 8)
        ahead = ptr32(uint(ahead) + 8)
        e = ptr32(uint(e) + 4)
        count -= 1


# Words that `shape` gives out.
TOP, TOP_AT, RISE, FALL, RING = range(5)


@micropython.viper
def shape(e: ptr32, at: int, v: int, out: ptr32, first: int, last: int, count: int):
    """Where an envelope peaks and where it crosses a quarter (-6 dB) and a hundredth (-20 dB) of the peak.

    e: `count` words of power below 2**29. at, v: spare. The peak is sought in first..last - 1. out: TOP the peak
    power, TOP_AT its index, RISE and FALL the -6 dB crossings around it, RING the -20 dB crossing after it, these
    three in sixteenths of a value, by linear interpolation of the power; -1 where the envelope ends first.

    Q format: Q4 for crossings. Range: crossings 0..16 * count. Headroom: a power difference is scaled below 2**27
    before the factor 16.
    """
    top = int(0)
    top_at = int(first)
    at = int(first)
    while at < last:
        v = e[at]
        if v > top:
            top = v
            top_at = at
        at += 1
    out[0] = top
    out[1] = top_at
    out[2] = -1
    out[3] = -1
    out[4] = -1
    limit = top >> 2
    at = top_at
    while at > 0:
        at -= 1
        v = e[at]
        if v < limit:
            out[2] = (at << 4) + (((limit - v) >> 2) << 4) // (((e[at + 1] - v) >> 2) + 1)
            break
    at = top_at + 1
    while at < count:
        v = e[at]
        if v < limit:
            out[3] = (at << 4) - (((limit - v) >> 2) << 4) // (((e[at - 1] - v) >> 2) + 1)
            break
        at += 1
    limit = top // 100
    while at < count:
        v = e[at]
        if v < limit:
            out[4] = (at << 4) - (((limit - v) >> 2) << 4) // (((e[at - 1] - v) >> 2) + 1)
            break
        at += 1


@micropython.viper
def log2_q10(v: int) -> int:
    """Return 1024 times the base-2 logarithm of v (1 .. 2**31 - 1), by repeated squaring of its mantissa.

    Q format: Q10. Range: 0..31744; -1024 for v < 1. Headroom: the mantissa stays below 2**16, its square below 2**31
    (Q15 mantissa under 2 is at most 65535, squared 4.29e9, so it is halved to Q14 first).
    """
    if v < 1:
        return -1024
    whole = int(0)
    x = int(v)
    while x >= 32768:
        x = x >> 1
        whole += 1
    while x < 16384:
        x = x << 1
        whole -= 1
    result = (whole + 14) << 10
    bit = int(512)
    while bit:
        x = (x * x) >> 14
        if x >= 32768:
            x = x >> 1
            result += bit
        bit = bit >> 1
    return result


@micropython.viper
def angle(y: int, x: int) -> int:
    """Return the angle of (x, y) in 1/65536 turns, -32768..32767, by a 14-step CORDIC; 0 for the origin.

    Q format: Q16 turns. Range: |x|, |y| < 2**24. Headroom: the vector is scaled by 2**5 and grows by 1.65: < 2**30.
    """
    turned = int(0)
    if x < 0:
        turned = int(32768)
        x = 0 - x
        y = 0 - y
    x = x << 5
    y = y << 5
    step = int(8192)
    n = int(0)
    while n < 14:
        if n == 1:
            step = int(4836)
        elif n == 2:
            step = int(2555)
        elif n == 3:
            step = int(1297)
        elif n == 4:
            step = int(651)
        elif n == 5:
            step = int(326)
        elif n > 5:
            step = int(10430) >> n
        dx = y >> n
        dy = x >> n
        if y > 0:
            x += dx
            y -= dy
            turned += step
        else:
            x -= dx
            y += dy
            turned -= step
        n += 1
    return ((turned + 32768) & 65535) - 32768
