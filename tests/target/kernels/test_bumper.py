"""The bumper check's kernels, three ways, from the samples on: at their extremes and for any stream.

Each test feeds a kernel with what the kernels before it really made of a stream of codes, so the ranges that the
docstrings state are those of reachable inputs; `agree` raises where an intermediate leaves 32 bits.
"""

from __future__ import annotations

from array import array
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core
from tests.target.kernels.streams import EXTREMES, streams, worst_for

BASEBAND = "curbtick_probe/dsp/burst/baseband.py"
SPECTRUM = "curbtick_probe/dsp/burst/spectrum.py"
FLOOR = "curbtick_probe/dsp/burst/floor.py"
BURST = "curbtick_probe/dsp/burst/closeup.py"
BLOCK, HISTORY, FRAMES, BINS = 1024, 20, 32, 13
# The highest power any stream gives in one bin: see test_no_stream_reaches_a_higher_power.
TOP_POWER = 450_000_000
ZERO = 32768
GUARD_MOST = 8192

# The taps of `fold` as its docstring describes them, oldest sample first.
REAL_TAPS = [8, 0, -17, 0, -27, 0, 29, 0, 134, 0, -254, 0, 134, 0, 29, 0, -27, 0, -17, 0, 8]
IMAGINARY_TAPS = [0, -22, 0, 2, 0, 46, 0, 36, 0, -220, 0, 220, 0, -36, 0, -46, 0, -2, 0, 22, 0]


def folded(core: Core, codes: array[int], count: int) -> array[int]:
    """The baseband of codes of which the first 17 came before the block; output n uses codes 4 n to 4 n + 20."""
    whole = max(16, -(-count // 8) * 8)
    block = codes[17 : 17 + 4 * whole]
    block.extend([2048] * (4 * whole - len(block)))
    z, joint, extremes = array("H", [0] * (2 * whole)), array("H", codes[:17]), array("i", [4095, 0])
    joint.extend([0] * 24)
    agree(core, BASEBAND, "fold", block, 0, z, joint, extremes, whole, 0)
    looked_at = [block[n + k] for n in range(0, len(block), 32) for k in (0, 7, 13, 22, 29)]
    assert list(extremes) == [min(looked_at), max(looked_at)]
    assert joint[:17] == block[-17:]
    return z[: 2 * count]


def spectra(core: Core, z: array[int], frames: int) -> tuple[array[int], array[int]]:
    """The halfwords of stage_one and the powers of stage_two."""
    y, power = array("H", [0] * (32 * frames)), array("i", [0] * (16 * frames))
    agree(core, SPECTRUM, "stage_one", z, y, 0, frames)
    agree(core, SPECTRUM, "stage_two", y, 0, power, frames)
    return y, power


@pytest.mark.parametrize("name", EXTREMES)
def test_a_whole_block_at_its_extremes(core: Core, name: str) -> None:
    z = folded(core, EXTREMES[name](BLOCK + HISTORY), BLOCK // 4)
    assert max(abs(v - ZERO) for v in z[0::2]) <= 21888
    assert max(abs(v - ZERO) for v in z[1::2]) <= 20864
    y, power = spectra(core, z, FRAMES - 1)
    assert max(abs(v - ZERO) for v in y) <= 15200
    assert max(power) <= TOP_POWER


@pytest.mark.parametrize(("taps", "part"), [(REAL_TAPS, 0), (IMAGINARY_TAPS, 1)])
@pytest.mark.parametrize("sign", [1, -1])
def test_fold_reaches_its_stated_range_and_no_more(core: Core, taps: list[int], part: int, sign: int) -> None:
    codes = worst_for([sign * tap for tap in taps], len(taps))
    reached = folded(core, codes, 1)[part] - ZERO
    assert reached == sum(tap * code for tap, code in zip(taps, codes, strict=True)) + 32 >> 6
    stated = (21888, 20864)[part]
    assert 0.9 * stated < abs(reached) <= stated


def bin_weights(number: int) -> np.ndarray:
    """What each of a frame's samples weighs in bin `number`: taps, Hann window and transform in one, as floats."""
    taps = np.array(REAL_TAPS) + 1j * np.array(IMAGINARY_TAPS)
    hann = np.round(16 - 16 * np.cos(np.pi * np.arange(16) / 8))
    weights = np.zeros(4 * 15 + len(taps), complex)
    for n in range(16):
        turn = np.exp(-2j * np.pi * n * (number - 8) / 16)
        weights[4 * n : 4 * n + len(taps)] += hann[n] * turn * taps / (64 * 256)
    return weights


def worst_codes(weights: np.ndarray) -> tuple[array[int], float]:
    """The rail-to-rail frame with the largest magnitude in the bin, and that magnitude squared.

    A magnitude is its largest projection, and a projection is largest where every sample has its weight's sign.
    """
    turned = (weights * np.exp(1j * np.pi * np.arange(512)[:, None] / 512)).real
    best = turned[np.abs(turned).sum(axis=1).argmax()]
    return array("H", [4095 if weight > 0 else 0 for weight in best]), (2047.5 * np.abs(best).sum()) ** 2


@pytest.mark.parametrize("number", range(BINS))
def test_no_stream_reaches_a_higher_power(core: Core, number: int) -> None:
    codes, expected = worst_codes(bin_weights(number))
    _, power = spectra(core, folded(core, codes, 16), 1)
    # A Q6 turn is off by at most 1/128 of its length, sqrt(2)/128 when both parts are.
    assert power[number] == pytest.approx(expected, rel=2 * 2**0.5 / 128)
    assert power[number] <= TOP_POWER


@settings(max_examples=25, deadline=None)
@given(streams(BLOCK // 4 + HISTORY))
def test_any_stream_to_powers(core: Core, codes: array[int]) -> None:
    count = (len(codes) - HISTORY) // 4
    y, power = spectra(core, folded(core, codes, count), count // 8 - 1)
    assert max(abs(v - ZERO) for v in y) <= 15200
    assert max(power) <= TOP_POWER


def test_fold_writes_where_it_is_told_and_carries_on(core: Core) -> None:
    codes = EXTREMES["rail-to-rail noise"](17 + 128)
    at_once, z = folded(core, codes, 32), array("H", [7] * 80)
    joint, extremes = array("H", codes[:17]), array("i", [4095, 0])
    joint.extend([0] * 24)
    for half in (0, 1):
        block = codes[17 + 64 * half : 17 + 64 * half + 64]
        agree(core, BASEBAND, "fold", block, 0, z, joint, extremes, 16, 3 + 16 * half)
    assert list(z) == [7] * 6 + list(at_once) + [7] * 10


def any_powers(frames: int) -> st.SearchStrategy[array[int]]:
    """Powers up to the highest that a stream reaches: steady, sparse or random."""
    levels = st.lists(st.integers(0, TOP_POWER), min_size=1, max_size=3)
    return st.builds(_powers, st.just(16 * frames), st.integers(0, 1 << 30), levels)


def _powers(count: int, seed: int, levels: list[int]) -> array[int]:
    source = Random(seed)
    return array("i", [source.choice([*levels, TOP_POWER]) for _ in range(count)])


@settings(max_examples=60, deadline=None)
@given(any_powers(16), st.integers(256, 1 << 25), st.integers(5, 10))
def test_floor_follows_within_its_range(core: Core, powers: array[int], start: int, shift: int) -> None:
    floor = array("i", [start] * BINS)
    agree(core, FLOOR, "follow", powers, 0, floor, 16, shift)
    assert list(floor) == [followed(powers[k::16], start, shift) for k in range(BINS)]
    assert all(256 <= level <= 1 << 25 for level in floor)


def followed(powers: array[int], level: int, shift: int) -> int:
    """The floor that the docstring describes: per eight frames, a step up for each, four down for each below."""
    for first in range(0, len(powers), 8):
        below = sum(power <= level >> 8 for power in powers[first : first + 8])
        level = min(1 << 25, max(256, level + (level >> shift) * (8 - 4 * below)))
    return level


def test_floor_has_headroom_for_the_longest_call(core: Core) -> None:
    powers, floor = array("i", [TOP_POWER] * (16 * 64)), array("i", [1 << 25] * BINS)
    agree(core, FLOOR, "follow", powers, 0, floor, 64, 5)
    assert list(floor) == [1 << 25] * BINS


@settings(max_examples=60, deadline=None)
@given(
    st.lists(any_powers(32), min_size=1, max_size=4),
    st.lists(st.integers(256, 1 << 25), min_size=BINS, max_size=BINS),
    st.integers(1, GUARD_MOST),
    st.integers(0, 6),
)
def test_excess_and_segments(
    core: Core, calls: list[array[int]], floors: list[int], rest: int, most: int
) -> None:
    smooth, state, floor = array("i", [0] * BINS), array("i", [0] * 8), array("i", floors)
    found, guard, crests = array("i", [0] * 5 * 6), array("i", [GUARD_MOST] * BINS), array("i", [0] * 800)
    waiting = 0
    for powers in calls:
        best = array("i", [0] * 64)
        agree(core, FLOOR, "excess", powers, 0, best, smooth, floor, guard, 32, rest)
        assert all(0 <= level <= 4 * TOP_POWER for level in smooth)
        assert all(rest <= level <= GUARD_MOST for level in guard)
        assert all(
            (top == 0) == (bin_ == 0) and bin_ <= BINS
            for top, bin_ in zip(best[::2], best[1::2], strict=True)
        )
        highest = max(best[::2])
        run = agree(core, FLOOR, "segment", best, 0, state, found, guard, crests, 32, waiting, most)
        assert waiting <= run.result <= max(waiting, most)
        assert all(level <= GUARD_MOST for level in guard)
        assert crests[state[6] // 32 - 1] == highest
        assert not any(best[::2])
        waiting = run.result


BASEBAND_PART = st.one_of(st.sampled_from([-21888, 0, 20864]), st.integers(-20864, 20864))


@settings(max_examples=30, deadline=None)
@given(st.lists(BASEBAND_PART, min_size=64, max_size=64), st.integers(0, 63), st.integers(1, 16))
def test_a_close_look_at_a_burst(core: Core, parts: list[int], step: int, span: int) -> None:
    s, count = array("H", [part + ZERO for part in parts]), 32
    sums = array("i", [0] * (2 * (count + 1)))
    envelope, shape = array("i", [0] * (count + 1 - span)), array("i", [0] * 5)
    agree(core, BURST, "rotate_sums", s, 0, sums, turn_table(), 0, count, step)
    shift = shift_for(sums, span)
    agree(core, BURST, "envelope", sums, 0, envelope, len(envelope), span, shift)
    agree(core, BURST, "shape", envelope, 0, shape, 0, len(envelope), len(envelope))
    assert shape[0] == max([0, *envelope])


@settings(max_examples=30, deadline=None)
@given(st.lists(BASEBAND_PART, min_size=64, max_size=64), st.integers(-64, 127), st.integers(0, 12))
def test_search_for_the_best_stretch(core: Core, parts: list[int], step: int, quieter: int) -> None:
    s = array("H", [(part >> quieter) + ZERO for part in parts])
    shift = max(0, (181 * 128 * (21888 >> quieter)).bit_length() - 15)
    work, out, spans = array("H", [0] * 66), array("i", [0, 0]), bytearray(b"\x02\x05\x09\x00")
    agree(core, BURST, "search", s, 0, work, turn_table(), spans, out, 0, 32, step, shift)
    values, table = (
        (np.array(s[0::2], float) - ZERO) + 1j * (np.array(s[1::2], float) - ZERO),
        table_of_turns(),
    )
    best = best_at(values, table, out[1], bytes(spans[:3]))
    assert -3 <= out[1] - step <= 3
    # Halfword sums are off by less than one step of the shift in each part.
    rounding = 4 * (1 << shift) * (best**0.5 + (1 << shift)) + (1 << 2 * shift)
    assert abs((out[0] << 2 * shift) - best) <= rounding
    # Steps that tie within the rounding may be taken either way: one of the best coarse steps was the centre, and what
    # was taken is as good as it and its two neighbours.
    power = {at: best_at(values, table, at, bytes(spans[:3])) for at in range(step - 3, step + 4)}
    coarse = (step - 2, step, step + 2)
    highest = max(power[at] for at in coarse) - 2 * rounding
    centres = [at for at in coarse if abs(at - out[1]) <= 1 and power[at] >= highest]
    assert any(best >= max(power[at + fine] for fine in (-1, 0, 1)) - 2 * rounding for at in centres)


def table_of_turns() -> np.ndarray:
    """The cosines and sines that the kernel turns by."""
    return np.array(turn_table(), float) - 128


def best_at(values: np.ndarray, table: np.ndarray, step: int, spans: bytes) -> float:
    """The best |sum|**2 / length at a step, with exact sums of the kernel's integer products."""
    phase = 2 * (step % 64 * np.arange(len(values)) % 64)
    sums = np.concatenate([[0], np.cumsum(values * (table[phase] - 1j * table[phase + 1]))])
    return max(
        float(np.abs(sums[span + n] - sums[n]) ** 2 / span)
        for span in spans
        for n in range(0, len(values) - span, 2)
    )


@settings(max_examples=30, deadline=None)
@given(st.lists(BASEBAND_PART, min_size=64, max_size=64), st.integers(0, 63), st.integers(1, 10))
def test_thirds_are_the_differences_of_sums(core: Core, parts: list[int], step: int, length: int) -> None:
    s, sums, out = array("H", [part + ZERO for part in parts]), array("i", [0] * 66), array("i", [0] * 7)
    agree(core, BURST, "rotate_sums", s, 0, sums, turn_table(), 0, 32, step)
    shift = shift_for(sums, length)
    agree(core, BURST, "thirds", sums, out, 1, length, shift)
    ends = [1 + length * k for k in range(4)]
    expected = [
        (sums[2 * b + part] - sums[2 * a + part]) >> shift
        for a, b in zip(ends, ends[1:], strict=False)
        for part in (0, 1)
    ]
    assert list(out) == [*expected, sum(value * value for value in expected)]


@given(st.lists(st.integers(256, 1 << 25), min_size=BINS, max_size=BINS), st.integers(0, BINS - 1))
@settings(max_examples=30, deadline=None)
def test_floors_added_up(core: Core, floors: list[int], number: int) -> None:
    assert agree(core, FLOOR, "total", array("i", floors)).result == sum(floors)
    low, high = max(0, number - 1), min(BINS - 1, number + 1)
    expected = (floors[low] >> 2) + (floors[number] >> 1) + (floors[high] >> 2)
    assert agree(core, FLOOR, "around", array("i", floors), number).result == expected


def turn_table() -> bytearray:
    from curbtick_probe.bumper import tables

    return bytearray(tables.turns())


def shift_for(sums: array[int], span: int) -> int:
    """The shift that takes every difference over `span` values below 2**14, as the kernel asks."""
    parts = [abs(sums[n + 2 * span] - sums[n]) for n in range(len(sums) - 2 * span)]
    return max(0, max(parts).bit_length() - 14)


def test_rotate_sums_has_headroom_for_its_longest_burst(core: Core) -> None:
    s = array("H", [ZERO + 21888, ZERO + 20864] * 512)
    sums = array("i", [0] * 1026)
    agree(core, BURST, "rotate_sums", s, 0, sums, turn_table(), 0, 512, 0)
    assert 1 << 27 < max(map(abs, sums)) < 1 << 28


@settings(max_examples=100, deadline=None)
@given(st.integers(-(1 << 24) + 1, (1 << 24) - 1), st.integers(-(1 << 24) + 1, (1 << 24) - 1))
def test_angle_is_that_of_mathematics(core: Core, y: int, x: int) -> None:
    from math import atan2, pi

    got = agree(core, BURST, "angle", y, x).result
    if max(abs(x), abs(y)) > 1000:
        error = (got - atan2(y, x) / (2 * pi) * 65536 + 32768) % 65536 - 32768
        assert abs(error) <= 16


def test_copies(core: Core) -> None:
    source, target = array("H", range(40)), array("H", [0] * 30)
    agree(core, BASEBAND, "copy", source, target, 20, 7, 3)
    assert list(target) == [0] * 3 + list(range(7, 27)) + [0] * 7
    guard = 2 * 8
    ring, out = array("H", range(guard + 2 * 2048)), array("H", [0] * 16)
    loudest = agree(core, BASEBAND, "unroll", ring, 0, out, 2044, 8).result
    assert list(out) == [guard + n for n in (*range(4088, 4096), *range(8))]
    assert loudest == (1 << 15) - 1
    around_zero = array("H", [ZERO] * (guard + 2 * 2048))
    around_zero[guard], around_zero[guard + 3] = ZERO + 5, ZERO - 9
    assert agree(core, BASEBAND, "unroll", around_zero, 0, out, 0, 8).result == 5 | 8


FINE = "curbtick_probe/dsp/burst/fine.py"
PACK = "curbtick_probe/dsp/burst/pack.py"


@settings(max_examples=30, deadline=None)
@given(streams(100), st.integers(128, 256))
def test_fine_envelope_of_any_stream(core: Core, codes: array[int], gain_q8: int) -> None:
    envelope = array("i", [0] * 96)
    agree(core, FINE, "envelope", codes, 0, envelope, 96, gain_q8)
    assert all(0 <= power < 1 << 27 for power in envelope)


FLAT = "curbtick_probe/dsp/burst/flat.py"


def flat_percent(codes: array[int]) -> int:
    """What flat.percent counts, by numpy: 32 samples at rest, then a burst."""
    rest = sum(codes[:32]) // 32
    found = 0
    for sign in (1, -1):
        swing = sign * (np.array(codes[32:], dtype=int) - rest)
        crest = int(swing.max())
        half = int((2 * swing >= crest).sum())
        if crest >= 300 and half >= 10:
            near = int((swing >= crest - max(12, crest // 32)).sum())
            found = max(found, 100 * near // half)
    return found


@settings(max_examples=30, deadline=None)
@given(streams(200))
def test_flatness_of_any_stream(core: Core, codes: array[int]) -> None:
    assert agree(core, FLAT, "percent", codes, len(codes)).result == flat_percent(codes)


def cut_burst(frequency_hz: float, over_db: float, low: bool, high: bool) -> array[int]:
    """72 samples of rest, then a burst of 900 codes that would go so much further, cut below and above where asked."""
    at_s = np.arange(312) / 250_000
    shape = np.minimum(1, at_s / 1e-4) * np.minimum(1, (312 / 250_000 - at_s) / 3e-4)
    swing = 900 * 10 ** (over_db / 20) * shape * np.sin(2 * np.pi * frequency_hz * at_s)
    swing = np.clip(swing, -900 if low else -9e9, 900 if high else 9e9)
    noise = np.random.default_rng(1).normal(0, 2.9, 384)
    return array("H", np.rint(2098 + np.append(np.zeros(72), swing) + noise).astype(int).tolist())


@pytest.mark.parametrize("frequency_hz", [38_300, 40_000, 43_100, 48_000, 52_700, 58_000, 61_100, 68_000])
def test_crests_that_are_cut_are_flat(core: Core, frequency_hz: float) -> None:
    """Within 1/32 of the crest a sine is for 1 - 2 asin(31/32) / pi = 0.16 of its time, above half for 0.67."""
    assert agree(core, FLAT, "percent", cut_burst(frequency_hz, 0, False, False), 384).result < 34
    for low, high in ((True, False), (False, True), (True, True)):
        assert agree(core, FLAT, "percent", cut_burst(frequency_hz, 4, low, high), 384).result >= 34


@settings(max_examples=30, deadline=None)
@given(streams(100), st.integers(0, 5))
def test_a_wave_in_bytes(core: Core, codes: array[int], quieter: int) -> None:
    wave, packed = array("H", [2048 + (code - 2048 >> quieter) for code in codes[:100]]), bytearray(100)
    shift = agree(core, PACK, "pack", wave, packed, len(wave)).result
    swing = max(abs(code - 2048) for code in wave)
    assert swing >> shift <= 127 and (shift == 0 or swing >> shift - 1 > 127)
    for code, byte in zip(wave, packed, strict=False):
        assert abs((byte - 128 << shift) - (code - 2048)) <= (1 << shift)
