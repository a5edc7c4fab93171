"""One sound looked at closely: coherent sums over the best stretch, envelope, crossings, phase."""

import micropython
from micropython import const

# Frequencies are tried in steps of 62.5 kHz / 64; the table of turns has two bytes a step, offset by this.
STEPS = const(64)
STEP_MHZ = const(976562)
_TURN_MASK = const(2 * STEPS - 1)
_TURN_ZERO = const(128)

# Places of the parts of a value, a sum and a turn.
_REAL = const(0)
_IMAGINARY = const(1)

# The offset of a value's parts (curbtick_probe.dsp.burst.baseband), and bytes of a value, of a word and of a sum.
_ZERO = const(32768)
_VALUE_BYTES = const(4)
_WORD_BYTES = const(4)
_SUM_BYTES = const(8)

# Products lose these bits before rotate_sums adds them up.
_PRODUCT_DROP = const(3)

# A word of 64 bits loads ptr32 without its sign: adding half, masking and taking half off gives a number of 30
# bits its sign back.
SIGN_HALF = const(0x20000000)
SIGN_MASK = const(0x3FFFFFFF)

# Words that `search` gives out, and how many steps it tries: three coarse ones, and the two beside the best of them.
BEST = const(0)
BEST_STEP = const(1)
_TRIES = const(5)
_FINE_TRIES = const(2)

# Words that `shape` gives out.
TOP = const(0)
TOP_AT = const(1)
RISE = const(2)
FALL = const(3)
RING = const(4)
SHAPE_WORDS = const(5)

# Crossings are at a quarter (2**-2) and at a hundredth of the peak's power, in 2**-4 of a value. Powers lose two bits
# first, so that a difference times 16 fits.
_QUARTER_BITS = const(2)
_HUNDREDTH = const(100)
_PART_BITS = const(4)
_POWER_DROP = const(2)

# Words of `thirds`: the real and imaginary parts of each third's sum, then the energy of all.
EARLY_REAL = const(0)
EARLY_IMAGINARY = const(1)
MIDDLE_REAL = const(2)
MIDDLE_IMAGINARY = const(3)
LATE_REAL = const(4)
LATE_IMAGINARY = const(5)
THIRDS_ENERGY = const(6)
THIRDS_WORDS = const(7)

# Angles are in 1/65536 turns. Steps of `angle`: arctan(2**-n) for n = 0..5; from there on 10430 * 2**-n.
_HALF_TURN = const(32768)
_TURN_LAST = const(65535)
_ARCTAN_0 = const(8192)
_ARCTAN_1 = const(4836)
_ARCTAN_2 = const(2555)
_ARCTAN_3 = const(1297)
_ARCTAN_4 = const(651)
_ARCTAN_5 = const(326)
_ARCTAN_SMALL = const(10430)
_ANGLE_STEPS = const(14)
_ANGLE_BITS = const(5)


@micropython.viper
def rotate_sums(s: ptr16, part: int, sums: ptr32, turn: ptr8, first: int, count: int, step: int):
    """Turn values back by step / 64 of a turn each and add them up.

    s: complex values, offset by 32768; `count` of them are used, from `first` on. part: spare. turn: from tables.turns.
    sums: 2 * (count + 1) words: the sums of the first 0, 1, ... count turned values. step: 0..63. count: at most 512.

    Q format: Q4 of the values less 127/128. Range: |part| of one term <= (30240 * 127) / 8 + 1 = 480061, of a sum
    <= 512 * 480061 = 2.46e8 < 2**28. Headroom: products < 2 * 32768 * 127 < 2**24.
    """
    s = ptr16(uint(s) + (first << 2))
    step = step << 1
    phase = int(0)
    real = int(0)
    imaginary = int(0)
    sums[_REAL] = 0
    sums[_IMAGINARY] = 0
    while count > 0:
        t = ptr8(uint(turn) + phase)
        c = t[_REAL] - _TURN_ZERO
        d = t[_IMAGINARY] - _TURN_ZERO
        sums = ptr32(uint(sums) + _SUM_BYTES)
        part = s[_REAL] - _ZERO
        real_c = part * c
        real_d = part * d
        part = s[_IMAGINARY] - _ZERO
        imaginary = ((part * c - real_d) >> _PRODUCT_DROP) + imaginary
        sums[_IMAGINARY] = imaginary
        part = ((part * d + real_c) >> _PRODUCT_DROP) + real
        sums[_REAL] = part
        real = part
        s = ptr16(uint(s) + _VALUE_BYTES)
        phase = (phase + step) & _TURN_MASK
        count -= 1


@micropython.viper
def search(
    s: ptr16,
    part: int,
    sums: ptr16,
    turn: ptr8,
    spans: ptr8,
    out: ptr32,
    first: int,
    count: int,
    step: int,
    shift: int,
):
    """Find the stretch and the frequency step whose coherent sum is largest for its length.

    For step - 2, step and step + 2, and then for the two beside the best of these, the values are turned back and added
    up as in rotate_sums, but into halfwords, which are fast to compare; they are scaled down to fit. Then every second
    start of every length is tried.
    s, turn, first: as rotate_sums. part: spare. sums: 2 * (count + 1) halfwords to work in. spans: lengths, ended by 0.
    count: at most 128, and such that 181 * 128 * |part| < 2**(15 + shift) for every part of a value. shift: 0..15. out:
    BEST, the largest |sum|**2 / length, and BEST_STEP, its step, which may lie outside 0..63.

    Q format: sums in Q7 of the values less 127/128, by 2**-shift; BEST that squared. Range: halfwords 1..65535; BEST <
    2**30. Headroom: sums < 128 * 42752 * 127 = 6.95e8 and their offset of at most 2**30: < 1.8e9 < 2**31; a
    difference's magnitude is below 2**15, its square below 2**30.
    """
    values = ptr16(uint(s) + (first << 2))
    out[BEST] = 0
    out[BEST_STEP] = step
    at = step - 2
    tries = int(_TRIES)
    while tries:
        if tries == _FINE_TRIES:
            at = ((out[BEST_STEP] + SIGN_HALF) & SIGN_MASK) - SIGN_HALF - 1
        turned = (at & (STEPS - 1)) << 1
        phase = int(0)
        real = _ZERO << shift
        imaginary = int(real)
        here = ptr16(uint(sums))
        here[_REAL] = _ZERO
        here[_IMAGINARY] = _ZERO
        s = ptr16(uint(values))
        n = int(count)
        while n:
            t = ptr8(uint(turn) + phase)
            c = t[_REAL] - _TURN_ZERO
            d = t[_IMAGINARY] - _TURN_ZERO
            here = ptr16(uint(here) + _VALUE_BYTES)
            part = s[_REAL] - _ZERO
            real_c = part * c
            real_d = part * d
            part = s[_IMAGINARY] - _ZERO
            imaginary = part * c - real_d + imaginary
            part = part * d + real_c + real
            here[_REAL] = part >> shift
            real = part
            part = imaginary
            here[_IMAGINARY] = part >> shift
            s = ptr16(uint(s) + _VALUE_BYTES)
            phase = (phase + turned) & _TURN_MASK
            n -= 1
        length = ptr8(uint(spans))
        while length[0]:
            span = int(length[0])
            top = int(0)
            s = ptr16(uint(sums))
            ahead = ptr16(uint(sums) + (span << 2))
            n = (count - span + 1) >> 1
            if n < 0:
                n = int(0)
            while n:
                part = ahead[_REAL]
                part -= s[_REAL]
                square = part * part
                part = ahead[_IMAGINARY]
                part -= s[_IMAGINARY]
                part = part * part + square
                if part > top:
                    top = part
                s = ptr16(uint(s) + 2 * _VALUE_BYTES)
                ahead = ptr16(uint(ahead) + 2 * _VALUE_BYTES)
                n -= 1
            top = top // span
            if top > out[BEST]:
                out[BEST] = top
                out[BEST_STEP] = at
            length = ptr8(uint(length) + 1)
        at += 2
        tries -= 1


@micropython.viper
def envelope(sums: ptr32, part: int, e: ptr32, count: int, span: int, shift: int):
    """Squared magnitude of each coherent sum over `span` values: an envelope smoothed at the carrier.

    sums: of rotate_sums. part: spare. e: `count` words; e[n] belongs to values n .. n + span - 1.
    shift: takes a sum's parts below 2**14.

    Q format: that of rotate_sums, shifted, squared. Range: e < 2**29. Headroom: differences below 2**29, which the
    extension of the sign relies on; squares below 2**28 each.
    """
    ahead = ptr32(uint(sums) + (span << 3))
    while count > 0:
        part = (((ahead[_REAL] - sums[_REAL] + SIGN_HALF) & SIGN_MASK) - SIGN_HALF) >> shift
        square = part * part
        part = (((ahead[_IMAGINARY] - sums[_IMAGINARY] + SIGN_HALF) & SIGN_MASK) - SIGN_HALF) >> shift
        e[0] = part * part + square
        sums = ptr32(uint(sums) + _SUM_BYTES)
        ahead = ptr32(uint(ahead) + _SUM_BYTES)
        e = ptr32(uint(e) + _WORD_BYTES)
        count -= 1


@micropython.viper
def shape(e: ptr32, at: int, out: ptr32, first: int, last: int, count: int):
    """Where an envelope peaks and where it crosses a quarter (-6 dB) and a hundredth (-20 dB) of the peak.

    e: `count` words of power below 2**29. at: spare. The peak is sought in first..last - 1. out: TOP the peak
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
    out[TOP] = top
    out[TOP_AT] = top_at
    out[RISE] = -1
    out[FALL] = -1
    out[RING] = -1
    limit = top >> _QUARTER_BITS
    at = top_at
    while at > 0:
        at -= 1
        v = e[at]
        if v < limit:
            out[RISE] = (at << _PART_BITS) + (((limit - v) >> _POWER_DROP) << _PART_BITS) // (
                ((e[at + 1] - v) >> _POWER_DROP) + 1
            )
            break
    at = top_at + 1
    crossing = int(FALL)
    while at < count:
        v = e[at]
        if v < limit:
            out[crossing] = (at << _PART_BITS) - (((limit - v) >> _POWER_DROP) << _PART_BITS) // (
                ((e[at - 1] - v) >> _POWER_DROP) + 1
            )
            if crossing == RING:
                break
            crossing = int(RING)
            limit = top // _HUNDREDTH
        else:
            at += 1


@micropython.viper
def thirds(sums: ptr32, out: ptr32, first: int, length: int, shift: int):
    """Three consecutive coherent sums over `length` values each, from `first` on.

    sums: of rotate_sums. out: THIRDS_WORDS words.
    shift: takes a sum's parts below 2**14.

    Q format: that of rotate_sums, shifted. Range: parts below 2**14, energy below 3 * 2**29 < 2**31. Headroom:
    differences below 2**29, which the extension of the sign relies on.
    """
    sums = ptr32(uint(sums) + (first << 3))
    third = ptr32(uint(out))
    energy = int(0)
    n = int(3)
    while n:
        ahead = ptr32(uint(sums) + (length << 3))
        re = ahead[_REAL] - sums[_REAL]
        re = (((re + SIGN_HALF) & SIGN_MASK) - SIGN_HALF) >> shift
        im = ahead[_IMAGINARY] - sums[_IMAGINARY]
        im = (((im + SIGN_HALF) & SIGN_MASK) - SIGN_HALF) >> shift
        third[_REAL] = re
        third[_IMAGINARY] = im
        energy += re * re + im * im
        sums = ptr32(uint(ahead))
        third = ptr32(uint(third) + _SUM_BYTES)
        n -= 1
    out[THIRDS_ENERGY] = energy


@micropython.viper
def angle(y: int, x: int) -> int:
    """Return the angle of (x, y) in 1/65536 turns, -32768..32767, by a 14-step CORDIC; 0 for the origin.

    Q format: Q16 turns. Range: |x|, |y| < 2**24. Headroom: the vector is scaled by 2**5 and grows by 1.65: < 2**30.
    """
    turned = int(0)
    if x < 0:
        turned = int(_HALF_TURN)
        x = -x
        y = -y
    x = x << _ANGLE_BITS
    y = y << _ANGLE_BITS
    step = int(_ARCTAN_0)
    n = int(0)
    while n < _ANGLE_STEPS:
        if n == 1:
            step = int(_ARCTAN_1)
        elif n == 2:
            step = int(_ARCTAN_2)
        elif n == 3:
            step = int(_ARCTAN_3)
        elif n == 4:
            step = int(_ARCTAN_4)
        elif n == 5:
            step = int(_ARCTAN_5)
        elif n > 5:
            step = int(_ARCTAN_SMALL) >> n
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
    return ((turned + _HALF_TURN) & _TURN_LAST) - _HALF_TURN
