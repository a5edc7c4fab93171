"""Streams of ADC codes that drive a kernel to its edges, and a hypothesis strategy for any stream whatever."""

from __future__ import annotations

import math
from array import array
from random import Random

from hypothesis import strategies as st

RATE_HZ = 250_000
TOP, MIDDLE = 4095, 2048


def square(count: int, period: int) -> array[int]:
    """Full-scale square wave of `period` samples."""
    return array("H", [TOP if n % period < period // 2 else 0 for n in range(count)])


def sine(count: int, frequency_hz: float, amplitude: float = 2047.5) -> array[int]:
    """Sine about mid-scale."""
    turn = 2 * math.pi * frequency_hz / RATE_HZ
    return array("H", [min(TOP, round(2047.5 + amplitude * math.sin(turn * n))) for n in range(count)])


def every_code(count: int) -> array[int]:
    """All 4096 codes in turn, from the first again when there is more room."""
    return array("H", [n % (TOP + 1) for n in range(count)])


def noise(count: int, seed: int) -> array[int]:
    """Uniform codes, rail to rail."""
    source = Random(seed)
    return array("H", [source.randrange(TOP + 1) for _ in range(count)])


def worst_for(weights: list[int], count: int) -> array[int]:
    """Codes that make the last sum of weights * codes as large as it can be."""
    ending = [TOP if weight > 0 else 0 for weight in weights]
    return array("H", ([0] * count + ending)[-count:])


EXTREMES = {
    "at the low rail": lambda count: array("H", [0] * count),
    "at the high rail": lambda count: array("H", [TOP] * count),
    "at rest": lambda count: array("H", [MIDDLE] * count),
    "alternating rails": lambda count: square(count, 2),
    "square of 62.5 kHz": lambda count: square(count, 4),
    "square of 41.7 kHz": lambda count: square(count, 6),
    "square of 31.25 kHz": lambda count: square(count, 8),
    "square of 976 Hz": lambda count: square(count, 256),
    "sine of 40 kHz": lambda count: sine(count, 40_000),
    "sine of 62.5 kHz": lambda count: sine(count, 62_500),
    "every code": every_code,
    "rail-to-rail noise": lambda count: noise(count, 1),
    "rest, then the high rail": lambda count: array(
        "H", [MIDDLE] * (count // 2) + [TOP] * (count - count // 2)
    ),
}


def streams(count: int) -> st.SearchStrategy[array[int]]:
    """Any stream of `count` codes: extremes, free choices of code, and pieces of both."""
    code = st.one_of(st.sampled_from([0, 1, MIDDLE, TOP - 1, TOP]), st.integers(0, TOP))
    free = st.lists(code, min_size=count, max_size=count).map(lambda codes: array("H", codes))
    drawn = st.integers(0, 1 << 32).map(lambda seed: noise(count, seed))
    pattern = st.lists(code, min_size=1, max_size=24).map(lambda part: _repeated(part, count))
    return st.one_of(drawn, pattern, free) if count <= 256 else st.one_of(drawn, pattern)


def _repeated(part: list[int], count: int) -> array[int]:
    return array("H", (part * (count // len(part) + 1))[:count])
