"""The kernels over the columns of a reading's sounds, three ways, for any sounds, against plain Python."""

from __future__ import annotations

from array import array
from collections.abc import Sequence

from curbtick_probe.dsp.train import columns
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core

COLUMNS = "curbtick_probe/dsp/train/columns.py"
END_US = 2_740_000
MARKS = (600, 2300, 60, 3500, 9000, 1280, 1390, 1480)

times = st.sampled_from([0, 599, 600, END_US]) | st.integers(0, END_US)
levels = st.sampled_from([-32768, -801, -800, -799, 600, 32767]) | st.integers(-9000, 600)
lengths = st.sampled_from([0, 59, 60, 3500, 3501, 2_000_000]) | st.integers(0, 5000)
sweeps = st.sampled_from([-9001, -9000, 9000, 9001]) | st.integers(-60_000, 60_000)
evidences = st.sampled_from([-32768, 1279, 1280, 1390, 1480, 2299, 2300, 32767]) | st.integers(-3000, 9000)
flag_words = st.integers(0, 63)


def rows_of(*kinds: st.SearchStrategy[int]) -> st.SearchStrategy[list[tuple[int, ...]]]:
    """Up to 64 sounds with these columns."""
    return st.lists(st.tuples(*kinds), min_size=1, max_size=64)


def split(rows: Sequence[tuple[int, ...]]) -> tuple[array[int], ...]:
    """The columns of sounds."""
    return tuple(array("i", column) for column in zip(*rows, strict=True))


@settings(max_examples=40, deadline=None)
@given(st.lists(evidences, min_size=1, max_size=64))
def test_the_weakest_is_the_first_of_the_least(core: Core, values: list[int]) -> None:
    found = agree(core, COLUMNS, "weakest", array("i", values), len(values)).result
    assert found == values.index(min(values))


@settings(max_examples=40, deadline=None)
@given(st.lists(levels, min_size=1, max_size=64), st.integers(0, 63), st.integers(0, 63))
def test_move_takes_one_out_and_puts_it_in(core: Core, values: list[int], source: int, target: int) -> None:
    column = array("i", values)
    source, target = source % len(values), target % len(values)
    agree(core, COLUMNS, "move", column, source, target)
    values.insert(target, values.pop(source))
    assert list(column) == values


def flags_of(time: int, evidence: int, length: int, sweep: int) -> int:
    """What the bits of the flags mean."""
    from_us, clear, shortest, longest, pure, sibling, single, proof = MARKS
    flags: int = (
        columns.CLEAR * (time >= from_us and evidence >= clear)
        + columns.SHORT * (length <= longest)
        + columns.PURE * (shortest <= length <= longest and abs(sweep) <= pure)
        + columns.SIBLING * (evidence >= sibling)
        + columns.SINGLE * (evidence >= single)
        + columns.PROOF * (evidence >= proof)
    )
    return flags


@settings(max_examples=60, deadline=None)
@given(rows_of(times, evidences, lengths, sweeps))
def test_flags_say_what_a_sound_may_be(core: Core, rows: list[tuple[int, int, int, int]]) -> None:
    time, evidence, length, sweep = split(rows)
    flags = array("i", [-1] * len(rows))
    agree(core, COLUMNS, "mark", time, evidence, length, sweep, array("i", MARKS), flags, len(rows))
    assert list(flags) == [flags_of(*row) for row in rows]


@settings(max_examples=60, deadline=None)
@given(rows_of(levels, flag_words), st.sampled_from([1, 3, 7, 63]), levels)
def test_weight_is_given_to_what_has_all_the_flags(
    core: Core, rows: list[tuple[int, int]], asked: int, least: int
) -> None:
    level, flags = split(rows)
    weight = array("i", [-1] * len(rows))
    weighed = agree(core, COLUMNS, "weigh", level, flags, weight, len(rows), asked, least, 1000).result
    chosen = [has & asked == asked and high >= least for high, has in rows]
    assert (weighed, list(weight)) == (sum(chosen), [1000 * one for one in chosen])


@settings(max_examples=60, deadline=None)
@given(rows_of(levels, flag_words, st.integers(0, 3)), st.sampled_from([1, 7]), levels, st.integers(0, 3))
def test_the_loud_are_counted(
    core: Core, rows: list[tuple[int, int, int]], asked: int, above: int, but: int
) -> None:
    level, flags, kind = split(rows)
    loud = agree(core, COLUMNS, "count_loud", level, flags, kind, len(rows), asked, above, but).result
    assert loud == sum(has & asked == asked and what != but and high > above for high, has, what in rows)


tallies = st.integers(0, 64)
small_means = st.integers(0, 400) | evidences
