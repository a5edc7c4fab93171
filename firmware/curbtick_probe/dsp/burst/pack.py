"""A wave's samples in a byte each."""

import micropython


@micropython.viper
def pack(x: ptr16, v: int, out: ptr8, count: int) -> int:
    """Pack samples as (code - 2048) >> shift, rounded and offset by 128; return the shift.

    x: `count` samples 0..4095. v: spare. out: `count` bytes. The shift is 0..4, the least that fits the largest swing.

    Q format: codes by 2**-shift. Range: bytes 1..255. Headroom: nothing beyond a code.
    """
    swing = int(0)
    n = int(0)
    while n < count:
        v = x[n] - 2048
        if v < 0:
            v = 0 - v
        if v > swing:
            swing = v
        n += 1
    shift = int(0)
    while swing >> shift > 127:
        shift += 1
    half = (1 << shift) >> 1
    n = int(0)
    while n < count:
        v = ((x[n] - 2048 + half) >> shift) + 128
        if v > 255:
            v = int(255)
        out[n] = v
        n += 1
    return shift
