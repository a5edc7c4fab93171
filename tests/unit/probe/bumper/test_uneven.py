"""Sound systems that keep no beat: dithered, doubled, paused, changing, passing a sensor twice; and what is none."""

from itertools import accumulate
from typing import Any

import pytest
from curbtick_probe.bumper.trains.cycle import PART, UNEVEN, UNKNOWN
from curbtick_wire.names import PASS, RETRY, WEAK

from tests.unit.probe.bumper.readingdata import LISTENED_US, Sound, every, faint, limits_of, ruled, train_of

FIRST_US = 30_000


def after(*gaps_ms: float, first_us: int = FIRST_US, **fields: int) -> list[Sound]:
    """Bursts with these gaps between them."""
    times_us = accumulate((1000 * ms for ms in gaps_ms), initial=float(first_us))
    return [Sound(round(time_us), **fields) for time_us in times_us]


def heard_out(sounds: list[Sound]) -> Any:
    """What is found in a reading that ends before the next burst is due."""
    return train_of(sounds, sounds[-1].time_us + 60_000)


def said(sounds: list[Sound]) -> tuple[int, list[str]]:
    """The verdict and its reasons."""
    return ruled(train_of(sounds))[:2]


DITHERED = (105, 102, 106.5, 100, 106.8, 101.7, 105.7, 105.2, 104, 105.3, 100.2)
CHANGING = (122, 122, 122, 122, 122, 122, 122, 119, 107, 95, 84)
PAUSED = (80, 80, 80, 80, 80, 135.4, 80, 80, 80, 80, 80, 80, 80)
IN_TURN = (140, 210) * 3 + (140,)


@pytest.mark.parametrize("gaps_ms", [DITHERED, CHANGING, PAUSED, IN_TURN], ids=str)
def test_a_system_that_keeps_no_beat_passes_once_all_was_heard(gaps_ms: tuple[float, ...]) -> None:
    from curbtick_probe.bumper import verdict

    trains = heard_out(after(*gaps_ms))
    assert (trains.count, trains.due, trains.timing) == (len(gaps_ms) + 1, len(gaps_ms) + 1, UNEVEN)
    assert ruled(trains)[:2] == (PASS, [])
    assert not verdict.clearly_passes(trains.heard, limits_of(), 0)


@pytest.mark.parametrize("apart_us", [8_000, 12_500, 18_000])
@pytest.mark.parametrize("interval_us", [83_000, 170_000, 230_000])
def test_two_bursts_in_each_slot_are_one_sensors(interval_us: int, apart_us: int) -> None:
    first = every(interval_us, FIRST_US)
    trains = train_of(first + every(interval_us, FIRST_US + apart_us))
    assert (trains.count, trains.due, trains.interval_us) == (len(first), len(first), interval_us)
    assert ruled(trains)[:2] == (PASS, [])


def test_seconds_that_come_now_and_then_are_not_understood() -> None:
    first = every(170_000, FIRST_US)
    seconds = [Sound(s.time_us + 9_000) for i, s in enumerate(first) if i % 3 == 0]
    assert said(first + seconds) == (RETRY, ["timing_unknown"])


@pytest.mark.parametrize("late_us", [900, 3_000, 8_000])
def test_one_burst_off_its_beat_in_a_quiet_yard_is_neither_noise_nor_missing(late_us: int) -> None:
    sounds = every(200_000, FIRST_US)
    sounds[3] = Sound(sounds[3].time_us + late_us)
    assert said(sounds) == (PASS, [])


def test_a_dithered_sensor_that_misses_many_bursts_does_not_pass() -> None:
    sounds = [sound for i, sound in enumerate(after(*DITHERED)) if i % 3]
    assert said(sounds)[0] in (RETRY, WEAK)


@pytest.mark.parametrize(
    "gaps_ms",
    [
        (122, 81, 160, 97, 144, 122, 88, 139, 101),
        (267, 266, 277, 257, 266, 273, 264),
        (80, 131, 80, 155, 80, 80, 80, 172, 80, 80),
    ],
    ids=str,
)
def test_gaps_in_no_order_are_not_understood(gaps_ms: tuple[float, ...]) -> None:
    """A bat's calls; a supply that works in packets; more than one pause."""
    trains = heard_out(after(*gaps_ms))
    assert trains.timing == UNKNOWN
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])


def test_sounds_of_different_voices_are_no_sensor() -> None:
    calls = [
        Sound(
            sound.time_us,
            -900 + 130 * (i % 5) * (-1) ** i,
            44_000 + 900 * (i % 4),
            length_us=900 + 500 * (i % 3),
        )
        for i, sound in enumerate(after(*DITHERED))
    ]
    assert said(calls)[0] == RETRY


def part(start_us: int, end_us: int, *trains: list[Sound]) -> list[Sound]:
    """What of some trains lies between two times."""
    return [sound for train in trains for sound in train if start_us <= sound.time_us < end_us]


@pytest.mark.parametrize(("start_us", "end_us"), [(500_000, LISTENED_US), (0, 700_000), (400_000, 1_100_000)])
def test_a_system_that_starts_or_stops_is_no_loose_contact(start_us: int, end_us: int) -> None:
    held, beside = every(100_000, FIRST_US), faint(100_000, 75_000)
    trains = train_of(part(start_us, end_us, held, beside))
    assert trains.timing == PART
    assert ruled(trains)[:2] == (RETRY, ["starts_or_stops"])


def test_a_sensor_that_fails_while_its_siblings_go_on_is_irregular() -> None:
    held, beside = every(100_000, FIRST_US), faint(100_000, 75_000)
    assert said(part(0, 700_000, held) + beside) == (WEAK, ["irregular"])


def test_a_loose_contact_in_a_system_that_stops_is_still_irregular() -> None:
    held = [sound for i, sound in enumerate(every(60_000, FIRST_US)) if (1, 0, 1, 1, 0, 0, 1)[i % 7]]
    assert said(part(0, 900_000, held, faint(60_000, 65_000))) == (WEAK, ["irregular"])
