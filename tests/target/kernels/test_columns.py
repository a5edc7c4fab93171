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
hertz = st.sampled_from([30_000, 48_000, 80_000]) | st.integers(24_000, 87_000)
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


def slip(late: int, interval: int) -> int:
    """How far from the nearest beat."""
    return min(late % interval, -late % interval)


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
@given(st.lists(times, min_size=1, max_size=64), times, st.integers(1, 600_000))
def test_phases_are_the_times_after_a_beat(core: Core, starts: list[int], first: int, interval: int) -> None:
    time, phase = array("i", starts), array("i", [-1] * len(starts))
    agree(core, COLUMNS, "phases", time, phase, len(starts), first, interval)
    assert list(phase) == [(start - first) % interval for start in starts]


@settings(max_examples=60, deadline=None)
@given(
    rows_of(times, levels, hertz, flag_words),
    st.tuples(levels, hertz),
    st.integers(28_000, 520_000),
    flag_words,
)
def test_what_is_alike_but_off_the_beat_is_counted(
    core: Core, rows: list[tuple[int, int, int, int]], like: tuple[int, int], step: int, asked: int
) -> None:
    phase, level, hz, flags = split(rows)
    words = array("i", [*like, 250, 2500])
    count = agree(
        core, COLUMNS, "like_off_beat", phase, level, hz, flags, words, len(rows), asked, step, 450
    ).result
    assert count == sum(
        has & asked == asked
        and abs(high - like[0]) <= 250
        and abs(f - like[1]) <= 2500
        and slip(late, step) > 450
        for late, high, f, has in rows
    )


near_beats = st.integers(0, 12).map(lambda n: 40_000 * n) | times


@settings(max_examples=60, deadline=None)
@given(
    rows_of(near_beats, evidences, st.integers(0, 2)), st.sampled_from([80_000, 520_000]), st.integers(0, 12)
)
def test_what_lies_on_the_beats(
    core: Core, rows: list[tuple[int, int, int]], interval: int, after: int
) -> None:
    after = after * 40_000 % interval
    phase, evidence, kept = split([(time % interval, *rest) for time, *rest in rows])
    hits, means = array("i", [-1] * len(rows)), array("i", [-1] * len(rows))
    agree(core, COLUMNS, "on_beats", phase, 0, evidence, kept, hits, means, len(rows), after, interval, 350)
    for row, at in enumerate(phase):
        on_it = [
            seen
            for late, seen in zip(phase, evidence, strict=True)
            if slip(late - at - after, interval) <= 350
        ]
        expected = (len(on_it), sum(on_it) // len(on_it) if on_it else 0)
        assert (hits[row], means[row]) == (expected if kept[row] else (-1, -1))


@settings(max_examples=60, deadline=None)
@given(rows_of(st.integers(0, 200_000), flag_words), st.integers(0, 63), st.integers(0, 200_000))
def test_sounds_of_a_phase_are_chosen(
    core: Core, rows: list[tuple[int, int]], asked: int, before: int
) -> None:
    phase, flags = split(rows)
    kept = array("i", [-1] * len(rows))
    agree(core, COLUMNS, "choose", phase, flags, kept, len(rows), asked, 26_000, before)
    assert list(kept) == [2 * (has & asked == asked and 26_000 < late < before) for late, has in rows]


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


@settings(max_examples=60, deadline=None)
@given(rows_of(tallies, small_means, tallies, small_means, st.sampled_from([0, 2])))
def test_companions_are_as_loud_as_their_number_lets_one_tell(
    core: Core, rows: list[tuple[int, int, int, int, int]]
) -> None:
    hits, means, others, their_means, kept = split(rows)
    agree(core, COLUMNS, "keep_alike", hits, means, others, their_means, kept, len(rows), 310, 96_100)

    def left(few: int, mean: int, other: int, their_mean: int, chosen: int) -> int:
        fewer, apart = min(few, other), abs(mean - their_mean)
        alike = fewer >= 2 and apart <= 310 and apart * apart * fewer <= 96_100
        return (2 if alike else 1) if chosen else 0

    assert list(kept) == [left(*row) for row in rows]
