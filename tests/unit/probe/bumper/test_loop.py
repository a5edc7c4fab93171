"""A sensor that comes more seldom than its siblings, faint ones included; and what ticks too quickly to be a loop."""

from dataclasses import replace
from typing import Any

import pytest
from curbtick_probe.bumper.trains import loop
from curbtick_wire.names import DEAD, PASS, RETRY

from tests.unit.probe.bumper.readingdata import Sound, every, faint, filled, ruled, train_of

LISTENED_US = 2_740_000
FIRST_US = 60_000


def heard_out(interval_us: int, *siblings: list[Sound]) -> Any:
    """A slow sensor and its siblings, heard for as long as a slow one is."""
    held = every(interval_us, FIRST_US, LISTENED_US)
    return train_of([*held, *(sound for train in siblings for sound in train)], LISTENED_US)


def sibling(interval_us: int, first_us: int, evidence_cdb: int = 1300, **fields: int) -> list[Sound]:
    """A train too faint to count singly, to the end of a slow reading."""
    return faint(interval_us, first_us, evidence_cdb, until_us=LISTENED_US, **fields)


@pytest.mark.parametrize("times", [2, 3, 4])
def test_faint_siblings_tell_of_a_quicker_loop(times: int) -> None:
    trains = heard_out(126_000 * times, sibling(126_000, FIRST_US + 40_000))
    assert trains.is_quicker
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])


@pytest.mark.parametrize(("times", "beside"), [(3, 2), (2, 3)])
def test_two_intervals_of_two_and_three_cycles_tell_of_a_quicker_loop(times: int, beside: int) -> None:
    trains = heard_out(130_000 * times, sibling(130_000 * beside, FIRST_US + 40_000))
    assert trains.sibling_interval_us == 130_000 * beside
    assert trains.is_quicker
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])


@pytest.mark.parametrize(("interval_us", "quicker"), [(248_000, False), (252_000, True)])
def test_a_sensor_of_a_usual_interval_is_not_asked_about(interval_us: int, quicker: bool) -> None:
    assert heard_out(interval_us, sibling(interval_us // 2, FIRST_US + 40_000)).is_quicker is quicker


@pytest.mark.parametrize(("off_us", "quicker"), [(0, True), (500, True), (1_200, False)])
def test_the_loops_must_agree(off_us: int, quicker: bool) -> None:
    assert heard_out(300_000, sibling(150_000 + off_us, FIRST_US + 40_000)).is_quicker is quicker


def test_siblings_that_keep_the_slow_interval_are_no_doubt() -> None:
    trains = heard_out(300_000, sibling(300_000, FIRST_US + 40_000), sibling(300_000, FIRST_US + 100_000))
    assert not trains.is_quicker
    assert ruled(trains)[:2] == (PASS, [])


def test_two_clear_siblings_in_turn_are_two_and_no_quicker_loop() -> None:
    """Half an interval apart and 5 dB apart in level: the two neighbours of a sensor in a loop of four."""
    near = sibling(300_000, FIRST_US + 75_000, 2_400)
    far = sibling(300_000, FIRST_US + 225_000, 1_900)
    trains = heard_out(300_000, near, far)
    assert trains.sibling_interval_us == pytest.approx(150_000, abs=100)
    assert not trains.is_quicker
    assert ruled(trains)[:2] == (PASS, [])


def test_a_sibling_where_the_sensor_would_be_due_shows_a_slow_loop() -> None:
    """Two neighbours alike, and the fourth sensor of the loop half an interval after the held one."""
    near = sibling(300_000, FIRST_US + 75_000)
    far = sibling(300_000, FIRST_US + 225_000)
    assert heard_out(300_000, near, far).is_quicker
    assert not heard_out(300_000, near, far, sibling(300_000, FIRST_US + 150_000)).is_quicker


@pytest.mark.parametrize(("score", "quicker"), [(loop.PROOF_SCORE, True), (loop.PROOF_SCORE - 1, False)])
def test_what_chance_gives_tells_nothing(score: int, quicker: bool) -> None:
    sounds = [*every(300_000, FIRST_US, LISTENED_US), *sibling(150_000, FIRST_US + 40_000)]
    heard = train_of(sounds, LISTENED_US).heard
    heard.siblings.score = score
    found = loop.is_quicker(heard.siblings, heard.cycle, heard.train, filled(sounds), heard.desk)
    assert found is quicker


def ticking(interval_us: int, **fields: int) -> list[Sound]:
    """A machine that ticks as loudly as a sibling, and as clearly."""
    return faint(interval_us, FIRST_US, **fields)


@pytest.mark.parametrize(
    ("interval_us", "proved"), [(9_000, False), (27_000, False), (31_000, True), (40_000, True)]
)
def test_what_ticks_more_quickly_than_sensors_take_turns_proves_nothing(
    interval_us: int, proved: bool
) -> None:
    trains = train_of(ticking(interval_us))
    assert trains.sibling_clear >= 4
    word, _, proofs = ruled(trains)
    assert (word == DEAD, "sibling_heard" in proofs) == (proved, proved)


@pytest.mark.parametrize(
    ("fields", "ticks"),
    [
        ({"level_cdb": -5100}, True),
        ({"level_cdb": -5101}, False),
        ({"frequency_hz": 49_500}, True),
        ({"frequency_hz": 49_501}, False),
    ],
    ids=str,
)
def test_a_tick_is_just_like_the_one_before(fields: dict[str, int], ticks: bool) -> None:
    """An echo that comes back so soon is fainter, and another sensor's burst is of another frequency."""
    first = ticking(150_000)
    soon = [replace(sound, time_us=sound.time_us - 10_000, evidence_cdb=1_600, **fields) for sound in first]
    trains = train_of(first + soon)
    assert trains.ticks == (trains.sibling_clear if ticks else 0)
    assert ("sibling_heard" in ruled(trains)[2]) is not ticks


def test_a_sound_found_twice_is_no_tick() -> None:
    first = ticking(150_000)
    trains = train_of(
        first + [replace(sound, time_us=sound.time_us - 2_900, evidence_cdb=1_600) for sound in first]
    )
    assert trains.ticks == 0
