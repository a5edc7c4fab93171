"""The tables of the seal and hiss check against numpy's sines."""

import numpy as np
import pytest
from curbtick_probe.dsp import circle, fft


@pytest.mark.parametrize(
    ("steps", "count", "amplitude"), [(2500, 3125, 16384), (512, 640, 2048), (512, 640, 16384)]
)
def test_a_circle_is_the_rounded_sine(steps: int, count: int, amplitude: int) -> None:
    table = circle.circle(steps, count, amplitude, amplitude)
    exact = amplitude * np.sin(2 * np.pi * np.arange(count) / steps)
    assert np.array_equal(np.array(table), amplitude + np.rint(exact).astype(int))


def test_the_order_is_the_reversed_bits() -> None:
    places = [int(f"{k:09b}"[::-1], 2) for k in range(fft.POINTS)]
    assert list(fft.order()) == [2 * place for place in places]
