"""The constant tables that the bumper check's kernels read, made once when a reader is."""

import math

from curbtick_wire import sampling
from curbtick_wire._typing import Sequence

# quadrature_q8 is tabled at these frequencies: FIRST_HZ, FIRST_HZ + 1 kHz, ...
FIRST_HZ = 30000
LINES = 51


def turns() -> bytes:
    """Return 128 bytes: cos and sin of 2 pi n / 64 in turn, Q7 of at most 127, offset by 128."""
    table = []
    for n in range(64):
        table.append(128 + round(127 * math.cos(math.pi * n / 32)))
        table.append(128 + round(127 * math.sin(math.pi * n / 32)))
    return bytes(table)


def quadratures_q8() -> bytes:
    """Return 256 / (2 sin(2 pi f / 250 kHz)) at the lines, which turn a central difference into its quadrature."""
    lines = [2 * math.pi * (FIRST_HZ + 1000 * k) / sampling.RATE_HZ for k in range(LINES)]
    return bytes([round(128 / math.sin(line)) for line in lines])


def at_line(table: Sequence[int], frequency_hz: int) -> int:
    """Return the value of a table of 1 kHz lines at a frequency, between the lines in proportion; held at its ends."""
    k = (frequency_hz - FIRST_HZ) // 1000
    if k < 0:
        return table[0]
    if k >= len(table) - 1:
        return table[-1]
    part = frequency_hz - FIRST_HZ - 1000 * k
    return table[k] + (table[k + 1] - table[k]) * part // 1000
