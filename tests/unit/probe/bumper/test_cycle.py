"""How often the system really fires: loose contacts, and siblings that tell of a quicker cycle."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from curbtick.yard.ear.faults import loose_contact
from curbtick_probe.bumper import verdict
from curbtick_probe.bumper.trains import cycle, desk
from curbtick_probe.bumper.trains.cycle import STEADY, UNKNOWN
from curbtick_wire.names import PASS, RETRY, WEAK

from tests.unit.probe.bumper.readingdata import (
    LISTENED_US,
    Sound,
    every,
    faint,
    filled,
    limits_of,
    ruled,
    train_of,
)

FIRST_US = 20_000


def loose(interval_us: int, pattern: tuple[int, ...], **fields: int) -> list[Sound]:
    """The bursts of a held sensor that sends (1) and leaves out (0) by a pattern."""
    sounds = every(interval_us, FIRST_US, **fields)
    return [sound for i, sound in enumerate(sounds) if pattern[i % len(pattern)]]


def siblings(interval_us: int, *quarters: int, evidence_cdb: int = 2000) -> list[Sound]:
    """Siblings that fire in these quarters of a cycle that the held sensor's slot begins."""
    starts = (FIRST_US + interval_us * quarter // 4 for quarter in quarters)
    return [sound for start_us in starts for sound in faint(interval_us, start_us, evidence_cdb)]


@pytest.mark.parametrize("interval_us", [100_000, 160_000, 200_000])
@pytest.mark.parametrize("quarters", [(), (1,), (1, 2), (1, 2, 3)])
@pytest.mark.parametrize("pattern", [(1, 0, 1, 1, 0), (1, 1, 0, 1, 0, 0)])
def test_a_loose_contact_is_weak_with_any_siblings(
    pattern: tuple[int, ...], quarters: tuple[int, ...], interval_us: int
) -> None:
    held = loose(interval_us, pattern)
    trains = train_of(held + siblings(interval_us, *quarters))
    assert (trains.count, trains.interval_us) == (len(held), interval_us)
    assert trains.due == len(every(interval_us, FIRST_US))
    assert ruled(trains)[:2] == (WEAK, ["irregular"])


@pytest.mark.parametrize("interval_us", [100_000, 160_000, 200_000])
@pytest.mark.parametrize("quarters", [(1,), (1, 2), (1, 2, 3)])
@pytest.mark.parametrize("pattern", [(1, 1, 0), (1, 1, 0, 0)])
def test_two_gaps_in_turn_are_a_loose_contact_where_siblings_keep_the_shorter_one(
    pattern: tuple[int, ...], quarters: tuple[int, ...], interval_us: int
) -> None:
    held = loose(interval_us, pattern)
    trains = train_of(held + siblings(interval_us, *quarters))
    assert (trains.count, trains.interval_us) == (len(held), interval_us)
    assert trains.due == len(every(interval_us, FIRST_US))
    assert ruled(trains)[:2] == (WEAK, ["irregular"])


@pytest.mark.parametrize("interval_us", [60_000, 100_000])
@pytest.mark.parametrize("pattern", [(1, 1, 0), (1, 1, 0, 0)])
def test_two_gaps_in_turn_may_be_a_loop_that_passes_the_sensor_twice(
    pattern: tuple[int, ...], interval_us: int
) -> None:
    assert ruled(train_of(loose(interval_us, pattern)))[:2] == (RETRY, ["timing_unknown"])


@pytest.mark.parametrize("interval_us", [100_000, 125_000])
@pytest.mark.parametrize("turn", range(19))
def test_a_contact_that_is_loose_in_no_order(turn: int, interval_us: int) -> None:
    pattern = loose_contact().pattern
    held = loose(interval_us, pattern[turn:] + pattern[:turn])
    trains = train_of(held)
    assert (trains.count, trains.due) == (len(held), len(every(interval_us, FIRST_US)))
    assert ruled(trains)[:2] == (WEAK, ["irregular"])


@pytest.mark.parametrize("interval_us", [100_000, 160_000, 200_000])
@pytest.mark.parametrize("quarters", [(1, 2), (1, 3), (2, 3), (1, 2, 3)])
def test_two_siblings_show_that_every_second_burst_is_missing(
    quarters: tuple[int, ...], interval_us: int
) -> None:
    held = loose(interval_us, (1, 0))
    trains = train_of(held + siblings(interval_us, *quarters))
    assert (trains.count, trains.interval_us) == (len(held), interval_us)
    assert trains.due == len(every(interval_us, FIRST_US))
    assert trains.timing == STEADY
    assert ruled(trains)[:2] == (WEAK, ["irregular"])


@pytest.mark.parametrize("interval_us", [100_000, 160_000])
def test_one_sibling_that_comes_three_times_shows_that_two_of_three_are_missing(interval_us: int) -> None:
    trains = train_of(loose(interval_us, (1, 0, 0)) + siblings(interval_us, 1))
    assert trains.interval_us == interval_us
    assert ruled(trains)[:2] == (WEAK, ["irregular"])


@pytest.mark.parametrize("quarter", [1, 3])
def test_one_sibling_that_comes_twice_is_a_doubt(quarter: int) -> None:
    held = loose(160_000, (1, 0))
    trains = train_of(held + siblings(160_000, quarter))
    assert (trains.interval_us, trains.timing) == (320_000, UNKNOWN)
    assert not verdict.clearly_passes(trains.heard, limits_of(), 0)
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])
    assert verdict.clearly_passes(train_of(every(160_000)).heard, limits_of(), 0)


def test_one_sibling_that_comes_twice_is_none_where_another_lies_between() -> None:
    """Two neighbours as loud as each other, and a third sensor half a cycle after the held one."""
    trains = train_of(
        every(160_000, FIRST_US) + siblings(160_000, 1, 3) + siblings(160_000, 2, evidence_cdb=1500)
    )
    assert (trains.interval_us, trains.timing) == (160_000, STEADY)
    assert ruled(trains)[:2] == (PASS, [])


def test_one_sibling_that_comes_twice_is_two_where_the_frequencies_part() -> None:
    held = every(160_000, FIRST_US)
    beside = [replace(s, frequency_hz=50_000 + 90 * (i % 3)) for i, s in enumerate(siblings(160_000, 1))]
    other = [replace(s, frequency_hz=46_800 + 110 * (i % 4)) for i, s in enumerate(siblings(160_000, 3))]
    assert ruled(train_of(held + beside + other))[:2] == (PASS, [])
    alike = [replace(s, frequency_hz=49_900 + 120 * (i % 3)) for i, s in enumerate(siblings(160_000, 3))]
    assert ruled(train_of(held + beside + alike))[:2] == (RETRY, ["timing_unknown"])


def test_noise_now_and_then_is_no_companion() -> None:
    """A sibling in each cycle; half a cycle before it something as loud, but in two of ten cycles."""
    beside = siblings(120_000, 3)
    noise = [replace(s, time_us=s.time_us - 60_000) for s in beside][2:9:5]
    assert len(noise) == 2 and len(beside) == 10
    trains = train_of(every(120_000, FIRST_US) + beside + noise)
    assert (trains.interval_us, trains.timing) == (120_000, STEADY)


@pytest.mark.parametrize("spread_cdb", [120, 150])
def test_siblings_that_repeat_imperfectly_are_a_doubt_and_never_a_pass(spread_cdb: int) -> None:
    """Four of six clear siblings' beats come again after half the interval, two do not."""
    held = loose(100_000, (1, 0))
    again = [sound for start_us in (50_000, 65_000) for sound in faint(100_000, start_us)]
    other = [
        replace(sound, evidence_cdb=1700 + 10 * spread_cdb * (i % 2))
        for i, sound in enumerate(faint(100_000, 95_000))
    ]
    trains = train_of(held + again + other)
    assert trains.timing == UNKNOWN
    assert not verdict.clearly_passes(trains.heard, limits_of(), 0)
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])


@pytest.mark.parametrize("evidence_cdb", [1_300, 1_479])
def test_a_sibling_too_faint_to_be_clear_tells_nothing(evidence_cdb: int) -> None:
    trains = train_of(loose(160_000, (1, 0)) + siblings(160_000, 1, 2, evidence_cdb=evidence_cdb))
    assert (trains.interval_us, trains.due, trains.timing) == (320_000, 4, STEADY)


def test_a_sibling_found_twice_counts_once() -> None:
    """Each second burst of a sibling was found in two pieces, the later one fainter: its evidence stays its own."""
    whole = siblings(100_000, 2, 3)
    pieces = [replace(s, time_us=s.time_us + 400, evidence_cdb=1400) for i, s in enumerate(whole) if i % 2]
    trains = train_of(loose(100_000, (1, 0)) + whole + pieces)
    assert trains.interval_us == 100_000


def test_siblings_in_turn_are_not_taken_for_one_that_comes_more_often() -> None:
    """All three of a bumper of four: the one halfway lies where the held sensor would be due."""
    trains = train_of(every(200_000, FIRST_US) + siblings(200_000, 1, 2, 3))
    assert (trains.count, trains.due, trains.interval_us, trains.timing) == (7, 7, 200_000, STEADY)
    assert ruled(trains)[:2] == (PASS, [])


@pytest.mark.parametrize(("apart_cdb", "said"), [(120, WEAK), (130, RETRY), (170, RETRY), (200, PASS)])
def test_a_sibling_that_comes_again_comes_with_the_same_evidence(apart_cdb: int, said: int) -> None:
    others = [
        replace(sound, evidence_cdb=2000 + apart_cdb * (i % 2))
        for start_us in (50_000, 65_000)
        for i, sound in enumerate(faint(100_000, start_us))
    ]
    assert ruled(train_of(loose(100_000, (1, 0)) + others))[0] == said


def test_echoes_are_no_siblings_that_tell_of_the_cycle() -> None:
    echoes = [
        Sound(s.time_us + delay_us, level_cdb=-2500, evidence_cdb=2500)
        for s in every(200_000, FIRST_US)
        for delay_us in (5_000, 25_900)
    ]
    trains = train_of(every(200_000, FIRST_US) + echoes)
    assert (trains.due, trains.interval_us, trains.timing) == (7, 200_000, STEADY)


@pytest.mark.parametrize(
    ("off_level_cdb", "off_hz", "off_us", "like"),
    [
        (0, 0, 0, True),
        (250, 2_500, 350, True),
        (-250, -2_500, -350, True),
        (251, 0, 0, False),
        (-251, 0, 0, False),
        (0, 2_501, 0, False),
        (0, -2_501, 0, False),
        (0, 0, 351, False),
        (0, 0, -351, False),
    ],
)
def test_a_burst_just_like_the_trains_but_off_its_beat_is_the_sensors_own(
    off_level_cdb: int, off_hz: int, off_us: int, like: bool
) -> None:
    """63.1 ms is no part of 200 ms, so no loose contact explains it."""
    odd = Sound(
        FIRST_US + 463_100,
        level_cdb=-800 + off_level_cdb,
        frequency_hz=48_000 + off_hz,
        length_us=600 + off_us,
    )
    trains = train_of([*every(200_000, FIRST_US), odd])
    assert (trains.timing == UNKNOWN) is like
    assert ruled(trains)[:2] == ((RETRY, ["timing_unknown"]) if like else (PASS, []))


@pytest.mark.parametrize("part", [2, 3, 4, 5, 7])
def test_bursts_on_a_part_of_the_beat_are_the_sensors_own(part: int) -> None:
    """One burst a step after each fifth: the interval is the longest part that holds them all."""
    step_us = 200_000 // part
    odd = Sound(FIRST_US + 400_000 + step_us)
    trains = train_of([*every(200_000, FIRST_US), odd])
    expected_due = (LISTENED_US - desk.OPEN_US - FIRST_US % step_us) // step_us + 1
    if FIRST_US % step_us < desk.WHOLE_FROM_US + desk.SLACK_US:
        expected_due -= 1
    assert (trains.count, trains.interval_us) == (8, step_us)
    assert trains.due == expected_due


def test_no_interval_is_shorter_than_a_system_can_fire() -> None:
    """A quarter of 100 ms would explain the odd burst, but is below 28 ms."""
    trains = train_of([*every(100_000, FIRST_US), Sound(FIRST_US + 325_000)])
    assert trains.timing == UNKNOWN


@pytest.mark.parametrize(
    ("interval_us", "slack_us"), [(0, 350), (40_000, 450), (200_000, 850), (500_000, 1600)]
)
def test_slack_grows_with_the_interval(interval_us: int, slack_us: int) -> None:
    assert desk.slack_us(interval_us) == slack_us


@pytest.mark.parametrize(
    ("time_us", "slip_us"),
    [(50_000, 0), (250_000, 0), (249_999, 1), (250_400, 400), (349_999, 99_999), (20_000, 30_000)],
)
def test_slip_is_the_way_to_the_nearest_beat(time_us: int, slip_us: int) -> None:
    room = desk.Desk()
    room.take_phases(filled([Sound(time_us)]), 50_000, 200_000)
    assert room.slip_us(0, 200_000) == slip_us


@pytest.mark.parametrize(
    ("first_us", "due"), [(100_000, 12), (950, 13), (949, 12), (300_950, 13), (85_000, 13), (85_001, 12)]
)
def test_due_counts_from_the_first_whole_burst_to_the_last(first_us: int, due: int) -> None:
    held = SimpleNamespace(first_us=first_us, last_us=first_us, count=3)
    assert cycle.count_due(held, 100_000, LISTENED_US) == due


def test_a_burst_in_the_last_margin_does_not_hide_one_that_is_missing_at_a_quicker_beat() -> None:
    held = [Sound(FIRST_US + 160_000 * i) for i in (0, 2, 4, 6, 8)]
    end_us = held[-1].time_us + 3_000
    others = [sound for quarter in (1, 2) for sound in faint(160_000, FIRST_US + 40_000 * quarter)]
    trains = train_of(held + [sound for sound in others if sound.time_us < end_us - 5_000], end_us)
    assert (trains.interval_us, trains.count, trains.due) == (160_000, 5, 9)
