"""The extreme codes of a block."""

import micropython


@micropython.viper
def extremes(x: ptr16, low: int, high: int, out: ptr32, count: int):
    """Widen a range of codes by every third of `count` samples (a sine of any class meets all phases so).

    x: samples 0..4095. low, high: spare, any value. out: two words, lowest and highest code, kept between calls.

    Q format: codes. Range: 0..65535. Headroom: nothing is added.
    """
    low = out[0]
    high = out[1]
    while count > 0:
        if x[0] < low:
            low = int(x[0])
        if x[0] > high:
            high = int(x[0])
        x = ptr16(uint(x) + 6)
        count -= 3
    out[0] = low
    out[1] = high
