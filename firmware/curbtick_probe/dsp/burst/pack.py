"""A wave's samples in a byte each."""

import micropython
from micropython import const

# The samples' middle, and a byte's: a byte holds at most so much on either side of it.
_MID_CODE = const(2048)
_BYTE_ZERO = const(128)
_SWING_MOST = const(127)
_BYTE_MOST = const(255)


@micropython.viper
def pack(x: ptr16, out: ptr8, count: int) -> int:
    """Pack samples as (code - 2048) >> shift, rounded and offset by 128; return the shift.

    x: `count` samples 0..4095. out: `count` bytes. The shift is 0..4, the least that fits the largest swing.

    Q format: codes by 2**-shift. Range: bytes 1..255. Headroom: nothing beyond a code.
    """
    swing = int(0)
    n = int(0)
    while n < count:
        v = x[n] - _MID_CODE
        if v < 0:
            v = -v
        if v > swing:
            swing = v
        n += 1
    shift = int(0)
    while swing >> shift > _SWING_MOST:
        shift += 1
    half = (1 << shift) >> 1
    n = int(0)
    while n < count:
        v = ((x[n] - _MID_CODE + half) >> shift) + _BYTE_ZERO
        if v > _BYTE_MOST:
            v = int(_BYTE_MOST)
        out[n] = v
        n += 1
    return shift
