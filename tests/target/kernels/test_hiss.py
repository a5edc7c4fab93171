"""The hiss check's kernels, three ways, at their extremes and for any stream."""

from __future__ import annotations

from array import array
from math import log10
from random import Random

import pytest
from curbtick_probe.dsp import fft
from curbtick_probe.dsp.hiss import spectrum
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core
from tests.target.kernels.streams import EXTREMES, streams

SPECTRUM = "curbtick_probe/dsp/hiss/spectrum.py"
LINES = "curbtick_probe/dsp/hiss/lines.py"
HEIGHTS = "curbtick_probe/dsp/hiss/heights.py"
FFT = "curbtick_probe/dsp/fft.py"
LEVEL = "curbtick_probe/dsp/level.py"
BINS, SUMS, BANDS = 155, 620, 12
COARSE = 1 << 29
ORDER, WINDOW, TURNS = fft.order(), spectrum.window(), fft.turns()


def block_powers(core: Core, codes: array[int]) -> array[int]:
    """Window, transform and powers of one block, all ways."""
    buf, powers = array("i", [0] * 1024), array("i", [0] * BINS)
    agree(core, SPECTRUM, "pair", codes, buf, ORDER, WINDOW)
    agree(core, FFT, "head", buf)
    agree(core, FFT, "fft", buf, 0, TURNS)
    agree(core, SPECTRUM, "powers", buf, powers)
    return powers


@pytest.mark.parametrize("name", EXTREMES)
def test_a_block_at_its_extremes(core: Core, name: str) -> None:
    powers, rows = block_powers(core, EXTREMES[name](1024)), array("i", [0] * BANDS)
    assert all(power & COARSE - 1 <= 1 << 23 for power in powers)
    agree(core, SPECTRUM, "bands", powers, rows, 0)
    assert max(rows) < 1 << 27


@settings(max_examples=6, deadline=None)
@given(streams(1024))
def test_any_block(core: Core, codes: array[int]) -> None:
    assert all(power & COARSE - 1 <= 1 << 23 for power in block_powers(core, codes))


def cdb_of(totals: array[int], k: int) -> float:
    """1000 log10 of a bin's power in fine units; coarse ones leave a fraction of the fine ones out."""
    coarse = totals[spectrum.COARSE_SUMS + k]
    units = (coarse + (totals[k] >> 13)) * 8192 if coarse else totals[k]
    return 1000 * log10(max(1, units))


FINE_MOST, COARSE_MOST = 1 << 23, int(2**22.2)


def powers_of(source: Random) -> array[int]:
    """Powers as the kernel writes them, at their limits and between."""
    fine = [0, 1, FINE_MOST, source.randrange(FINE_MOST)]
    coarse = [COARSE | COARSE_MOST, COARSE | source.randrange(1 << 10, COARSE_MOST)]
    return array("i", [source.choice(fine + coarse) for _ in range(BINS)])


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1 << 30), st.sampled_from([1, 5]))
def test_segments_of_any_powers(core: Core, seed: int, segments: int) -> None:
    source = Random(seed)
    limits = array("i", [source.choice([0, 1 << 22, source.randrange(1 << 22)]) for _ in range(BINS)])
    sums = array("i", [0] * (SUMS * segments))
    for segment in range(segments):
        for _ in range(2):
            agree(core, SPECTRUM, "gather", powers_of(source), limits, sums, SUMS * segment)
    totals, logs = array("i", [0] * SUMS), array("i", [0] * BINS)
    agree(core, SPECTRUM, "total", sums, totals, segments)
    agree(core, SPECTRUM, "mantissas", totals, logs)
    agree(core, LEVEL, "log2_q10", logs, BINS)
    agree(core, SPECTRUM, "decibels", totals, logs)
    assert all(abs(got - cdb_of(totals, k)) <= 2 for k, got in enumerate(logs))
    assert all(0 <= level <= 13_000 for level in logs)
    agree(core, LINES, "limits", totals, limits, 2 * segments)
    assert all(0 <= limit <= 1 << 22 for limit in limits)
    found = array("i", [0] * 8)
    count = agree(core, LINES, "peaks", logs, totals, found, segments, source.randrange(1200), 8).result
    assert list(found[:count]) == sorted(set(found[:count]))
    mask = bytearray(source.randrange(2) for _ in range(BINS))
    rest = agree(core, LINES, "left", totals, mask, 24, 63).result
    assert rest == sum(totals[465 + k] >> 6 for k in range(24, 64) if not mask[k])


def test_sums_have_headroom_for_the_longest_hiss(core: Core) -> None:
    powers = array("i", [FINE_MOST] * 78 + [COARSE | COARSE_MOST] * 77)
    limits, sums, totals = array("i", [1 << 22] * BINS), array("i", [0] * (5 * SUMS)), array("i", [0] * SUMS)
    for segment in range(5):
        for _ in range(16):
            agree(core, SPECTRUM, "gather", powers, limits, sums, SUMS * segment)
    agree(core, SPECTRUM, "total", sums, totals, 5)
    assert 1 << 29 < max(totals) < 2**29.4
    agree(core, LINES, "limits", totals, limits, 80)
    agree(core, LINES, "left", totals, bytearray(BINS), 0, 39)


VALUES = st.lists(
    st.one_of(st.sampled_from([0, (1 << 29) - 1]), st.integers(0, (1 << 29) - 1)), min_size=1, max_size=80
)


@settings(max_examples=40, deadline=None)
@given(VALUES, st.integers(1, 255))
def test_median_and_centre(core: Core, values: list[int], width_q8: int) -> None:
    words, shift = array("i", values), max(0, max(values).bit_length() - 22)
    middle = agree(core, LINES, "median", words, len(words)).result
    assert middle == sorted(values)[len(values) // 2]
    centre = agree(core, LINES, "centre", words, len(words), middle, width_q8, shift).result
    assert min(values) >> shift <= centre + 1 and centre <= max(values) >> shift


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 1 << 30), st.integers(1, 4))
def test_ratios_and_folds(core: Core, seed: int, width: int) -> None:
    source = Random(seed)
    top = int(2**29.4)
    now, before = (
        array("i", [source.choice([0, 1, top, source.randrange(top)]) for _ in range(SUMS)]) for _ in range(2)
    )
    out = array("i", [0] * BINS)
    agree(core, LINES, "ratios", now, before, out, 0, BINS - 1)
    assert all(0 <= ratio <= 1 << 20 for ratio in out)
    rows = array("i", [source.choice([0, (1 << 27) - 1]) for _ in range(BANDS * 20)])
    sums = array("i", [0] * 20)
    agree(core, LINES, "fold", rows, sums, 12 - width, width, 20)
    assert list(sums) == [sum(rows[12 * n + 12 - width : 12 * n + 12]) for n in range(20)]


def test_clear_touches_its_segment_alone(core: Core) -> None:
    sums = array("i", [7] * (3 * SUMS))
    agree(core, SPECTRUM, "clear", sums, SUMS)
    assert list(sums) == [7] * SUMS + [0] * SUMS + [7] * SUMS


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, BINS - 1), max_size=8), st.integers(0, 8), st.integers(0, 5))
def test_cover_marks_the_bins_around_lines(core: Core, bins: list[int], count: int, reach: int) -> None:
    mask, words = bytearray([9] * BINS), array("i", bins + [0] * 8)
    lines = bins[:count]
    agree(core, LINES, "cover", mask, words, len(lines), reach)
    assert list(mask) == [int(any(abs(k - line) <= reach for line in lines)) for k in range(BINS)]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 1 << 30), st.integers(0, 8))
def test_heights_of_any_blocks(core: Core, seed: int, first: int) -> None:
    """Energies to logarithms, their sums, and how far the second lowest sub-band of each block stands out."""
    source = Random(seed)
    rows = array("i", [source.choice([0, (1 << 27) - 1, source.randrange(1 << 27)]) for _ in range(16 * 12)])
    logs, sums, out = array("i", [0] * 64), array("i", [0] * 4), array("i", [0] * 16)
    agree(core, HEIGHTS, "gather", rows, logs, first, 16)
    assert list(logs) == [max(1, rows[12 * k + first + n]) for k in range(16) for n in range(4)]
    agree(core, LEVEL, "log2_q10", logs, 64)
    agree(core, HEIGHTS, "total", logs, sums, 16)
    assert list(sums) == [sum(logs[n::4]) for n in range(4)]
    reference, spread = array("i", [source.randrange(1 << 15) for _ in range(4)]), 3060
    agree(core, HEIGHTS, "heights", logs, reference, out, 16, spread)
    for k in range(16):
        low, second, *_, high = sorted(logs[4 * k + n] - reference[n] for n in range(4))
        assert out[k] == (second if high - second <= spread else min(second, 0))
