"""The seal check's kernels, three ways, at their extremes and for any stream."""

from __future__ import annotations

from array import array
from math import log2

import pytest
from curbtick_probe.dsp import fft
from curbtick_probe.dsp.tone import cells as tone_cells
from curbtick_probe.dsp.tone import mix
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core
from tests.target.kernels.streams import EXTREMES, sine, square, streams

MIX = "curbtick_probe/dsp/tone/mix.py"
FFT = "curbtick_probe/dsp/fft.py"
CELLS = "curbtick_probe/dsp/tone/cells.py"
LEVEL = "curbtick_probe/dsp/level.py"
EXTENT = "curbtick_probe/dsp/extent.py"
BLOCK = 1024
FINE_BIAS = 1 << 21
# What the docstring of `decimate` states.
FULL_SCALE = 524_160


def fine_values(core: Core, codes: array[int], step: int) -> array[int]:
    """The fine baseband of a stream of whole blocks: mix, blank and decimate, all ways, block by block."""
    oscillator, taps = mix.oscillator(), mix.taps()
    ramp, line = array("i", [1 << 29] * 2), mix.line()
    blocks = len(codes) // BLOCK
    fine, coarse, phase = array("i", [0] * (8 * blocks)), array("i", [0] * 32), 0
    for number in range(blocks):
        block = codes[number * BLOCK : (number + 1) * BLOCK]
        phase = agree(core, MIX, "mix", block, oscillator, phase, step, ramp, coarse).result
        agree(core, MIX, "blank", coarse, line)
        agree(core, MIX, "decimate", line, taps, fine, 4 * number)
    return fine


@pytest.mark.parametrize("name", EXTREMES)
@pytest.mark.parametrize("step", [100, 200])
def test_blocks_at_their_extremes(core: Core, name: str, step: int) -> None:
    fine = fine_values(core, EXTREMES[name](6 * BLOCK), step)
    assert max(abs(value - FINE_BIAS) for value in fine) < 2**20.1


@pytest.mark.parametrize("frequency_hz", [10_000, 12_500])
def test_the_loudest_square_at_the_tone_itself(core: Core, frequency_hz: int) -> None:
    codes = square(12 * BLOCK, 250_000 // frequency_hz)
    fine = fine_values(core, codes, frequency_hz // 100)
    assert max(abs(value - FINE_BIAS) for value in fine) < 2**20.1


def test_a_full_scale_tone_has_the_stated_magnitude(core: Core) -> None:
    fine = fine_values(core, sine(24 * BLOCK, 15_000), 150)
    real, imaginary = fine[-2] - FINE_BIAS, fine[-1] - FINE_BIAS
    assert abs((real * real + imaginary * imaginary) ** 0.5 / FULL_SCALE - 1) < 0.01


@settings(max_examples=8, deadline=None)
@given(streams(2 * BLOCK), st.integers(1, 1249))
def test_any_stream_to_the_fine_baseband(core: Core, codes: array[int], step: int) -> None:
    fine = fine_values(core, codes, step)
    assert max(abs(value - FINE_BIAS) for value in fine) < 2**20.1


def span_of(values: list[int]) -> array[int]:
    return array("i", [FINE_BIAS + value for value in values])


PART = st.one_of(st.sampled_from([-(1 << 20), 0, (1 << 20) - 1]), st.integers(-(1 << 20), 1 << 20))
SPANS = st.one_of(
    PART.map(lambda part: [part] * 384),
    st.tuples(PART, PART).map(lambda pair: list(pair) * 192),
    st.randoms(use_true_random=False).map(lambda r: [r.randrange(-(1 << 20), 1 << 20) for _ in range(384)]),
)


@settings(max_examples=8, deadline=None)
@given(SPANS, st.integers(0, 183))
def test_spectrum_of_any_span(core: Core, values: list[int], inner: int) -> None:
    fine, buf, cells = span_of(values), array("i", [0] * 1024), array("i", [0] * 369)
    top = agree(core, CELLS, "crest", fine, 192).result
    assert top == max(abs(value) for value in values)
    taper = tone_cells.taper(fft.turns())
    agree(core, CELLS, "load", fine, buf, fft.order(), taper, max(0, top.bit_length() - 12))
    agree(core, FFT, "head", buf)
    agree(core, FFT, "fft", buf, 0, fft.turns())
    widest = agree(core, CELLS, "spread", buf).result
    agree(core, CELLS, "powers", buf, cells, max(0, widest.bit_length() - 14))
    assert max(cells) < 1 << 30
    best = agree(core, CELLS, "highest", cells, 0, 368).result
    assert cells[best] == max(cells) and max(cells) not in cells[:best]
    shift = max(0, (368 * max(cells)).bit_length() - 31)
    mean = agree(core, CELLS, "mean_below", cells, inner, max(cells), shift).result
    beside = [c >> shift for n, c in enumerate(cells) if abs(n - 184) > inner]
    assert mean == (sum(beside) // len(beside) if beside else 0)


@pytest.mark.parametrize("name", EXTREMES)
def test_extent_of_every_third_sample(core: Core, name: str) -> None:
    codes, out = EXTREMES[name](BLOCK), array("i", [4095, 0, 0])
    agree(core, EXTENT, "extent", codes, 1, BLOCK, out)
    looked_at = codes[1::3]
    assert list(out) == [
        min(looked_at),
        max(looked_at),
        sum(code <= 128 or code >= 3824 for code in looked_at),
    ]


def test_logarithm_is_that_of_mathematics(core: Core) -> None:
    values = sorted({1, 2, 3, (1 << 31) - 1} | {(1 << k) + d for k in range(2, 31) for d in (-1, 0, 1)})
    words = array("i", values)
    agree(core, LEVEL, "log2_q10", words, len(words))
    for value, got in zip(values, words, strict=True):
        assert -3 <= got - 1024 * log2(value) <= 0.001


def test_logarithm_of_nothing_is_below_that_of_one(core: Core) -> None:
    words = array("i", [0, 1, 0])
    agree(core, LEVEL, "log2_q10", words, 3)
    assert list(words) == [-1024, 0, -1024]
