"""Real samples to a complex baseband around 62.5 kHz: the one per-sample filter of the bumper check.

In every kernel of the listening the first two parameters are what its inner loop uses most, often a pointer and
`part`, a number to work with whose value at the call is not used: in a .mpy file only these two live in registers, all
else on the stack. Pointers move, because a constant index is one load.
"""

import micropython
from micropython import const

_RATE_HZ = const(250000)
CENTRE_HZ = const(_RATE_HZ // 4)

# Samples for each value; the samples that one value is made of; how often a value comes.
_FOLD = const(4)
_TAPS = const(21)
VALUE_RATE_HZ = const(_RATE_HZ // _FOLD)
VALUE_US = const(16)

# A part is stored with this offset; sums are kept, rounded, at 2**-6. A full-scale sine (2047.5 codes) at CENTRE_HZ
# gives a magnitude of 14844.
ZERO = const(32768)
_SUM_BITS = const(6)
_SUM_ZERO = const((ZERO << _SUM_BITS) + 32)

# The ring of recent baseband values, complex, lies behind GUARD values that repeat its last ones, so that a frame
# that begins before the ring's first value is read in one piece.
RING = const(2048)
GUARD = const(8)

# Samples that a block's first outputs need from the block before, and the room in which `fold` joins the two: it serves
# so many outputs, five that begin in the block before and one more, for outputs are made in pairs. The next one begins
# so many bytes into the block.
HISTORY = const(_TAPS - _FOLD)
_JOINED = const(6)
_JOINED_SAMPLES = const(_JOINED * _FOLD)
_BLOCK_AHEAD = const(2 * (_JOINED_SAMPLES - HISTORY))
JOINT = const(HISTORY + _JOINED_SAMPLES)

# Extreme codes are looked for in 32 samples (64 bytes) at a time, of which 8 outputs are made.
LOWEST = const(0)
HIGHEST = const(1)
_STRIDE_BYTES = const(64)
_STRIDE_OUTPUTS = const(8)

# The parts of a value, and its halfwords.
_REAL = const(0)
_IMAGINARY = const(1)
_VALUE_HALFWORDS = const(2)

# Bytes of one value's samples, and of the value.
_FOLD_BYTES = const(2 * _FOLD)
_VALUE_BYTES = const(4)

# The filter's loss against CENTRE_HZ at 30, 31, ... 80 kHz in hundredths of a dB, from the taps below:
# -20 log10(|sum h[k] (-j)**k exp(j 2 pi f k / 250 kHz)| / 928).
LOSS_CDB = (
    327, 255, 193, 142, 99, 65, 39, 20, 8, 2, 1, 4, 11, 20, 32, 44, 55, 66, 75, 81, 84, 84, 81, 75, 66, 57,
    46, 35, 25, 15, 8, 3, 0, 0, 3, 8, 15, 25, 35, 46, 57, 66, 75, 81, 84, 84, 81, 75, 66, 55, 44,
)  # fmt: skip


@micropython.viper
def fold(x: ptr16, part: int, z: ptr16, joint: ptr16, codes: ptr32, count: int, z_at: int):
    """Filter and decimate a block of samples into `count` complex baseband values, and note its extreme codes.

    x: 4 * count samples 0..4095, count a multiple of 8 and at least 16. part: spare, any value. z: halfwords, real and
    imaginary part in turn, offset by 32768; output n goes to complex index z_at + n and uses samples 4 * n - 17 to
    4 * n + 3 of the block.
    joint: JOINT halfwords kept between calls; the first HISTORY are the samples before this block. codes: two words,
    lowest and highest code, kept between calls, widened by five of each 32 samples, so unevenly spaced that no sine of
    30-80 kHz hides between them.
    Taps: a 21-tap equiripple low-pass (Parks-McClellan, pass 28 kHz, stop 46 kHz, rounded to 8 bits, the even
    taps trimmed to an exact null at DC) times (-j)**k, so that even taps make the real part and odd taps the
    imaginary one: 30-80 kHz fold to -32.5..+17.5 kHz.

    Q format: 1 code of input is 7.25 steps of output. Range: |real| <= 21888 and |imag| <= 20864 for any input.
    Headroom: partial sums stay below 4095 * 684 = 2.9e6 < 2**22.
    """
    block = ptr16(uint(x))
    room = ptr16(uint(joint) + 2 * HISTORY)
    n = int(_JOINED)
    while n:
        room[0] = x[0]
        room[1] = x[1]
        room[2] = x[2]
        room[3] = x[3]
        x = ptr16(uint(x) + _FOLD_BYTES)
        room = ptr16(uint(room) + _FOLD_BYTES)
        n -= 1
    x = ptr16(uint(block))
    part = codes[LOWEST]
    n = int(count)
    while n:
        if x[0] < part:
            part = int(x[0])
        if x[7] < part:
            part = int(x[7])
        if x[13] < part:
            part = int(x[13])
        if x[22] < part:
            part = int(x[22])
        if x[29] < part:
            part = int(x[29])
        x = ptr16(uint(x) + _STRIDE_BYTES)
        n -= _STRIDE_OUTPUTS
    codes[LOWEST] = part
    x = ptr16(uint(block))
    part = codes[HIGHEST]
    n = int(count)
    while n:
        if x[0] > part:
            part = int(x[0])
        if x[7] > part:
            part = int(x[7])
        if x[13] > part:
            part = int(x[13])
        if x[22] > part:
            part = int(x[22])
        if x[29] > part:
            part = int(x[29])
        x = ptr16(uint(x) + _STRIDE_BYTES)
        n -= _STRIDE_OUTPUTS
    codes[HIGHEST] = part
    block = ptr16(uint(block) + _BLOCK_AHEAD)
    z = ptr16(uint(z) + (z_at << 2))
    x = ptr16(uint(joint))
    n = int(_JOINED)
    count -= _JOINED
    while n:
        while n:
            part = (x[0] + x[20]) << 3
            part -= x[10] * 254
            part -= (x[2] + x[18]) * 17
            part -= (x[4] + x[16]) * 27
            part += (x[6] + x[14]) * 29
            z[_REAL] = (part + (x[8] + x[12]) * 134 + _SUM_ZERO) >> _SUM_BITS
            part = (((x[11] - x[9]) * 10 + x[19] - x[1]) * 11 + x[3] - x[17]) << 1
            part += (x[5] - x[15]) * 46
            z[_IMAGINARY] = (part + (x[7] - x[13]) * 36 + _SUM_ZERO) >> _SUM_BITS
            part = (x[4] + x[24]) << 3
            part -= x[14] * 254
            part -= (x[6] + x[22]) * 17
            part -= (x[8] + x[20]) * 27
            part += (x[10] + x[18]) * 29
            z[_VALUE_HALFWORDS + _REAL] = (part + (x[12] + x[16]) * 134 + _SUM_ZERO) >> _SUM_BITS
            part = (((x[15] - x[13]) * 10 + x[23] - x[5]) * 11 + x[7] - x[21]) << 1
            part += (x[9] - x[19]) * 46
            z[_VALUE_HALFWORDS + _IMAGINARY] = (part + (x[11] - x[17]) * 36 + _SUM_ZERO) >> _SUM_BITS
            x = ptr16(uint(x) + 2 * _FOLD_BYTES)
            z = ptr16(uint(z) + 2 * _VALUE_BYTES)
            n -= 2
        n = count
        count = int(0)
        if n:
            x = ptr16(uint(block))
    while n < HISTORY:
        joint[n] = x[n]
        n += 1


@micropython.viper
def copy(source: ptr16, target: ptr16, count: int, source_at: int, target_at: int):
    """Copy `count` halfwords from source[source_at] on to target[target_at] on.

    Q format: none. Range: any halfword. Headroom: nothing is added.
    """
    source = ptr16(uint(source) + (source_at << 1))
    target = ptr16(uint(target) + (target_at << 1))
    while count > 0:
        target[0] = source[0]
        source = ptr16(uint(source) + 2)
        target = ptr16(uint(target) + 2)
        count -= 1


@micropython.viper
def unroll(z: ptr16, part: int, out: ptr16, at: int, count: int) -> int:
    """Copy `count` complex values from the ring, from complex index `at` (taken modulo RING) on, to `out`.

    z: GUARD and RING complex values. part: spare. Returns 2**n - 1 or less, with n the fewest bits that hold any
    |real| or |imaginary| part of them, less one for a negative.

    Q format: as fold. Range: 0..32767. Headroom: nothing is added.
    """
    ring = ptr16(uint(z) + GUARD * _VALUE_BYTES)
    top = int(0)
    while count > 0:
        at = at & (RING - 1)
        # As many as there are up to the ring's end.
        run = RING - at
        if run > count:
            run = int(count)
        z = ptr16(uint(ring) + (at << 2))
        at += run
        count -= run
        while run:
            part = z[_REAL]
            out[_REAL] = part
            part -= ZERO
            top = part ^ (part >> 31) | top
            part = z[_IMAGINARY]
            out[_IMAGINARY] = part
            part -= ZERO
            top = part ^ (part >> 31) | top
            z = ptr16(uint(z) + _VALUE_BYTES)
            out = ptr16(uint(out) + _VALUE_BYTES)
            run -= 1
    return top
