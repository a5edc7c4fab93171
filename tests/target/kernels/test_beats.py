"""What lies on a beat, and what is alike: three ways, for any sounds, against plain Python."""

from __future__ import annotations

from array import array
from collections.abc import Sequence

from curbtick_probe.dsp.train import alike, beats
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.target.agree import agree
from tests.target.core import Core

ALIKE, BEATS = "curbtick_probe/dsp/train/alike.py", "curbtick_probe/dsp/train/beats.py"
END_US = 2_740_000

times = st.sampled_from([0, 599, 600, END_US]) | st.integers(0, END_US)
near_beats = st.integers(0, 12).map(lambda n: 40_000 * n) | st.integers(0, 30_000) | times
levels = st.sampled_from([-32768, -801, -800, -799, 600, 32767]) | st.integers(-9000, 600)
near_levels = st.integers(-1100, -500) | levels
hertz = st.sampled_from([41_500, 48_000, 54_500, 80_000]) | st.integers(24_000, 87_000)
lengths = st.sampled_from([0, 59, 60, 3500, 3501, 2_000_000]) | st.integers(0, 5000)
evidences = st.sampled_from([-32768, 1389, 1390, 32767]) | st.integers(-3000, 9000)
flag_words = st.integers(0, 63)


def split(rows: Sequence[tuple[int, ...]]) -> tuple[array[int], ...]:
    """The columns of sounds."""
    return tuple(array("i", column) for column in zip(*rows, strict=True))


def rows_of(*kinds: st.SearchStrategy[int]) -> st.SearchStrategy[list[tuple[int, ...]]]:
    """Up to 64 sounds with these columns."""
    return st.lists(st.tuples(*kinds), min_size=1, max_size=64)


@settings(max_examples=60, deadline=None)
@given(st.lists(times, min_size=1, max_size=64), times, st.integers(1, 600_000))
def test_phases_are_the_times_after_a_beat(core: Core, starts: list[int], first: int, interval: int) -> None:
    time, phase = array("i", starts), array("i", [-1] * len(starts))
    agree(core, BEATS, "phases", time, phase, len(starts), first, interval)
    assert list(phase) == [(start - first) % interval for start in starts]


@settings(max_examples=60, deadline=None)
@given(rows_of(st.integers(0, 200_000), flag_words), st.integers(0, 63), st.integers(0, 200_000))
def test_sounds_of_a_phase_are_chosen(
    core: Core, rows: list[tuple[int, int]], asked: int, before: int
) -> None:
    phase, flags = split(rows)
    kept = array("i", [-1] * len(rows))
    agree(core, BEATS, "choose", phase, flags, kept, len(rows), asked, 26_000, before)
    assert list(kept) == [2 * (has & asked == asked and 26_000 < late < before) for late, has in rows]


def found_once(heard: list[tuple[int, int]]) -> list[int]:
    """The evidence of sounds (time, evidence) in order, those within 3 ms of a sound's first piece being that sound."""
    kept: list[tuple[int, int]] = []
    for time, evidence in heard:
        if kept and time - kept[-1][0] <= beats.TWICE_US:
            kept[-1] = (kept[-1][0], max(kept[-1][1], evidence))
        else:
            kept.append((time, evidence))
    return [evidence for _, evidence in kept]


@settings(max_examples=80, deadline=None)
@given(
    rows_of(near_beats, evidences, hertz, st.integers(0, 3)),
    st.sampled_from([80_000, 520_000]),
    st.integers(0, 12),
)
def test_what_lies_on_a_beat_counts_once(
    core: Core, rows: list[tuple[int, int, int, int]], interval: int, after: int
) -> None:
    beat = after * 40_000 % interval
    time, evidence, hz, kind = split(sorted(rows))
    phase, out = array("i", [at % interval for at in time]), array("i", [-1] * 4)
    agree(core, BEATS, "on_beat", time, phase, evidence, hz, kind, out, len(time), 0, beat, interval, 350)
    heard = [
        (at, seen, f)
        for at, seen, f, what in zip(time, evidence, hz, kind, strict=True)
        if what and min((at - beat) % interval, (beat - at) % interval) <= 350
    ]
    once = found_once([(at, seen) for at, seen, _ in heard])
    tones = [f for *_, f in heard] or [0]
    assert list(out) == [len(once), sum(once) // len(once) if once else 0, min(tones), max(tones)]


tallies = st.integers(0, 64)
small_means = st.integers(0, 400) | evidences


@settings(max_examples=80, deadline=None)
@given(st.tuples(tallies, small_means, hertz, hertz), st.tuples(tallies, small_means, hertz, hertz))
def test_companions_are_as_loud_as_their_number_lets_one_tell(
    core: Core, this: tuple[int, int, int, int], that: tuple[int, int, int, int]
) -> None:
    (hits, mean, *tones), (others, their_mean, *their_tones) = this, that
    low, high = sorted(tones)
    their_low, their_high = sorted(their_tones)
    one = array("i", [hits, mean, low, high])
    other = array("i", [others, their_mean, their_low, their_high])
    found = agree(core, BEATS, "are_alike", one, other, 96_100, 310).result
    fewer, apart = min(hits, others), abs(mean - their_mean)
    alike = fewer >= 2 and 2 * fewer >= max(hits, others)
    parted = fewer >= 4 and (low > their_high or their_low > high)
    assert found == (alike and not parted and apart <= 310 and apart * apart * fewer <= 96_100)


@settings(max_examples=60, deadline=None)
@given(
    rows_of(near_levels, hertz, lengths, flag_words),
    st.tuples(near_levels, hertz, lengths),
    flag_words,
)
def test_the_alike_are_gathered(
    core: Core, rows: list[tuple[int, int, int, int]], like: tuple[int, int, int], asked: int
) -> None:
    level, hz, length, flags = split(rows)
    words, out = array("i", [*like, 250, 2500, 350]), array("i", [-1] * len(rows))
    found = agree(core, ALIKE, "gather", level, hz, length, flags, words, out, len(rows), asked).result
    near = [
        row
        for row, (high, f, long, has) in enumerate(rows)
        if has & asked == asked
        and abs(high - like[0]) <= 250
        and abs(f - like[1]) <= 2500
        and abs(long - like[2]) <= 350
    ]
    assert list(out) == near + [-1] * (len(rows) - len(near))
    assert found == len(near)


@settings(max_examples=60, deadline=None)
@given(rows_of(levels, evidences, lengths, hertz), levels)
def test_the_loudest_of_a_band(core: Core, rows: list[tuple[int, int, int, int]], least: int) -> None:
    level, evidence, length, hz = split(rows)
    band = array("i", [least, 1390, 60, 41_500, 54_500])
    assert len(band) == alike.BAND_WORDS
    row = agree(core, ALIKE, "loudest", level, evidence, length, hz, band, len(rows)).result
    inside = [
        high
        for high, seen, long, f in rows
        if high >= least and seen >= 1390 and long >= 60 and 41_500 <= f <= 54_500
    ]
    if not inside:
        assert row == -1
    else:
        assert rows[row][0] == max(inside)
