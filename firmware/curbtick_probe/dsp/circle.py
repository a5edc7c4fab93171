"""Sine tables made with integers alone, so that every machine makes the same ones."""

import array

_ONE = 1 << 60

# sin and cos of one step, rounded to 60 fractional bits, for the circles in use: 2500 and 512 steps.
_STEPS = {
    2500: (2897604732752609, 1152917863367433735),
    512: (14148120384212745, 1152834691737939372),
}


def circle(steps: int, count: int, amplitude: int, offset: int) -> "array.array[int]":
    """Return array('H') of offset + round(amplitude * sin(2 pi k / steps)), k = 0..count-1.

    steps: 2500 or 512; amplitude + offset at most 65535.
    """
    quarter = steps // 4
    first = _first_quarter(steps, amplitude)
    table = array.array("H", bytes(2 * count))
    for k in range(count):
        turn, part = divmod(k, quarter)
        value = first[quarter - part] if turn & 1 else first[part]
        table[k] = offset - value if turn & 2 else offset + value
    return table


def _first_quarter(steps: int, amplitude: int) -> "array.array[int]":
    """Return array('H') of round(amplitude * sin(2 pi k / steps)), k = 0..steps / 4, from both its ends.

    One step at a time is turned by a 60-bit rotation, whose error stays below 1e-15 in an eighth of a turn.
    """
    sine, cosine = _STEPS[steps]
    half = _ONE >> 1
    quarter = steps // 4
    first = array.array("H", bytes(2 * quarter + 2))
    x, y = _ONE, 0
    for k in range(quarter // 2 + 1):
        first[k] = (amplitude * y + half) >> 60
        first[quarter - k] = (amplitude * x + half) >> 60
        x, y = (x * cosine - y * sine + half) >> 60, (x * sine + y * cosine + half) >> 60
    return first
