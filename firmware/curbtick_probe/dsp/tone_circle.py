"""Sine tables made with integers alone, so that every machine makes the same ones."""

import array

_ONE = 1 << 60

# sin and cos of one step, rounded to 60 fractional bits, for the circles in use: 2500 and 512 steps.
_STEPS = {
    2500: (2897604732752609, 1152917863367433735),
    512: (14148120384212745, 1152834691737939372),
}


def circle(steps, count, amplitude, offset):
    """Return array('H') of offset + round(amplitude * sin(2 pi k / steps)), k = 0..count-1.

    steps: 2500 or 512; amplitude + offset at most 65535. One step at a time is turned by a 60-bit rotation, whose
    error stays below 1e-14 in 3200 steps.
    """
    sine, cosine = _STEPS[steps]
    half = _ONE >> 1
    x, y = _ONE, 0
    table = array.array("H", bytes(2 * count))
    for k in range(count):
        table[k] = offset + ((amplitude * y + half) >> 60)
        x, y = (x * cosine - y * sine + half) >> 60, (x * sine + y * cosine + half) >> 60
    return table
