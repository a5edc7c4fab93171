"""Sounds to trains: the held sensor's among siblings, echoes, bats and clicks, and what is measured of it."""

from dataclasses import replace

import pytest
from curbtick_probe.bumper.trains.cycle import STEADY, UNEVEN
from curbtick_probe.bumper.trains.sounds import MOST
from curbtick_wire.names import DEAD, ECHO, HELD, OTHER, RETRY, SIBLING

from tests.unit.probe.bumper.readingdata import (
    LISTENED_US,
    PLACES,
    Sound,
    every,
    evidence_of,
    faint,
    filled,
    limits_of,
    part_of,
    ruled,
    shifted,
    train_of,
)


def in_turn(interval_us: int, positions: int, slots: tuple[int, ...], first_us: int = 50_000) -> list[Sound]:
    """Siblings at these of a bumper's slots, the held sensor's being slot 0."""
    starts = [((first_us + interval_us * slot // positions) % interval_us, slot) for slot in slots]
    trains = [faint(interval_us, start_us, 2200 - 150 * slot) for start_us, slot in starts]
    return [sound for train in trains for sound in train if sound.time_us > 600]


@pytest.mark.parametrize("first_us", [700, 20_000, 63_000])
@pytest.mark.parametrize(
    ("interval_us", "positions"),
    [(160_000, 4), (200_000, 6), (200_000, 4), (66_000, 2), (240_000, 4), (500_000, 6)],
)
def test_the_held_train_among_its_siblings(interval_us: int, positions: int, first_us: int) -> None:
    held = every(interval_us, first_us)
    siblings = in_turn(interval_us, positions, tuple(range(1, positions)), first_us)
    trains = train_of(held + siblings)
    assert (trains.count, trains.due, trains.first_us) == (len(held), len(held), first_us)
    assert trains.interval_us == interval_us
    assert (trains.rivals, trains.strays, trains.timing) == (0, 0, STEADY)
    assert trains.kinds.count(HELD) == len(held) and trains.kinds.count(SIBLING) == len(siblings)


@pytest.mark.parametrize("interval_us", [150_000, 200_000, 240_000])
@pytest.mark.parametrize(
    ("positions", "slots"),
    [
        (4, (1,)),
        (4, (1, 2)),
        (4, (2, 3)),
        (6, (1, 2)),
        (6, (2, 3)),
        (6, (1, 5)),
        (6, (2, 3, 4)),
        (6, (1, 2, 3, 4, 5)),
    ],
)
def test_any_siblings_prove_that_the_system_transmits(
    positions: int, slots: tuple[int, ...], interval_us: int
) -> None:
    for first_us in range(2000, interval_us, 71_000):
        trains = train_of(in_turn(interval_us, positions, slots, first_us))
        assert trains.siblings >= 4, first_us
        assert 2 * trains.siblings >= trains.sibling_due, first_us


def test_the_measures_are_medians_over_the_bursts() -> None:
    sounds = every(200_000)
    odd = [
        Sound(s.time_us, -800 - 10 * i, 48_000 + 10 * i * i, sweep_hz=i, length_us=600 + i, ringdown_us=i)
        for i, s in enumerate(sounds)
    ]
    trains = train_of(odd)
    assert len(odd) == 7
    assert (trains.level_cdb, trains.frequency_hz, trains.sweep_hz) == (-830, 48_090, 3)
    assert (trains.burst_us, trains.spread_cdb) == (603, 60)
    even = train_of(odd[:6], 1_100_000)
    assert (even.level_cdb, even.frequency_hz, even.burst_us) == (-825, 48_065, 602)


@pytest.mark.parametrize(
    ("rings", "quartile"),
    [
        ((96, 32, 95, 94, 36, 95, 92), 36),
        ((92, 36, 95), 36),
        ((-1, -1, 92, -1, 95, 94, 36), 36),
        ((-1, -1, -1, -1, -1, -1, 80), 80),
        ((-1,) * 7, -1),
        ((0, 3600, 3650, 3600, 3700, 3600, 3600), 3600),
    ],
)
def test_the_ring_down_is_the_lower_quartile_of_those_measured(rings: tuple[int, ...], quartile: int) -> None:
    """Noise and reflections lengthen a fall, so the short ones are the true ones; one outlier counts for nothing."""
    sounds = every(200_000)[: len(rings)]
    odd = [replace(s, ringdown_us=ring) for s, ring in zip(sounds, rings, strict=True)]
    assert train_of(odd).ringdown_us == quartile


@pytest.mark.parametrize("gone", [(2,), (1, 4), (3, 4), (2, 3, 5)])
def test_bursts_that_do_not_come_are_counted_as_due(gone: tuple[int, ...]) -> None:
    sounds = [s for i, s in enumerate(every(150_000)) if i not in gone]
    trains = train_of(sounds)
    assert (trains.count, trains.due) == (len(sounds), len(sounds) + len(gone))
    assert trains.interval_us == 150_000


def test_a_burst_due_before_or_after_what_was_heard_is_missing_too() -> None:
    sounds = every(150_000, 20_000)
    trains = train_of(sounds[2:-1])
    assert (trains.count, trains.due) == (len(sounds) - 3, len(sounds))


@pytest.mark.parametrize(("cut_us", "counts"), [(599, False), (600, True)])
def test_a_burst_cut_by_the_start_is_neither_heard_nor_missing(cut_us: int, counts: bool) -> None:
    sounds = every(200_000, cut_us)
    trains = train_of(sounds)
    expected = len(sounds) if counts else len(sounds) - 1
    assert (trains.count, trains.due) == (expected, expected)
    assert (trains.rivals, trains.strays) == (0, 0)


@pytest.mark.parametrize(("before_end_us", "missing"), [(4_000, 0), (4_999, 0), (5_001, 1), (9_000, 1)])
def test_a_burst_that_may_still_be_open_at_the_end_is_not_missing(before_end_us: int, missing: int) -> None:
    first_us = LISTENED_US - before_end_us - 1_200_000
    trains = train_of([s for s in every(200_000, first_us) if s.time_us < LISTENED_US - 100_000])
    assert (trains.count, trains.due) == (6, 6 + missing)


def test_bursts_may_wander_by_the_slack_and_no_more() -> None:
    slack_us = 350 + 200_000 // 400
    sounds = every(200_000)
    late = [replace(s, time_us=s.time_us + (slack_us - 20) * (i == 3)) for i, s in enumerate(sounds)]
    assert train_of(late).count == len(sounds)
    later = [replace(s, time_us=s.time_us + (slack_us + 30) * (i == 3)) for i, s in enumerate(sounds)]
    trains = train_of(later)
    assert (trains.count, trains.due, trains.timing) == (len(sounds), len(sounds), UNEVEN)


@pytest.mark.parametrize("delay_us", [1500, 9_000, 25_000])
def test_echoes_are_told_from_siblings_and_leave_the_train_alone(delay_us: int) -> None:
    held = every(200_000)
    trains = train_of(held + shifted(held, delay_us, 1500) + shifted(held, delay_us + 900, 2500))
    assert (trains.count, trains.due, trains.rivals, trains.timing) == (7, 7, 0, STEADY)
    assert trains.level_cdb == -800 and trains.spread_cdb == 0
    assert trains.kinds.count(ECHO) == 14 and trains.kinds.count(HELD) == 7


@pytest.mark.parametrize(("loss_cdb", "kind"), [(901, ECHO), (900, SIBLING)])
def test_what_is_nearly_as_loud_is_no_echo(loss_cdb: int, kind: int) -> None:
    held = every(200_000)
    assert train_of(held + shifted(held, 8_000, loss_cdb)).kinds[1] == kind


def test_of_two_sounds_on_one_beat_the_louder_is_the_burst() -> None:
    held = every(200_000)
    trains = train_of(held + shifted(held, 500, 900))
    assert (trains.count, trains.level_cdb, trains.spread_cdb) == (7, -800, 0)
    early = train_of(held + shifted(held, -500, 900))
    assert (early.count, early.level_cdb, early.spread_cdb) == (7, -800, 0)


BAT_CALLS = [
    (0, 45_000),
    (127, 45_300),
    (291, 44_800),
    (423, 45_100),
    (597, 45_000),
    (721, 44_900),
    (880, 45_200),
]


@pytest.mark.parametrize(
    "shape",
    [
        {"length_us": 3_501},
        {"length_us": 6_000},
        {"sweep_hz": 7_501},
        {"sweep_hz": -14_000},
        {"length_us": 59},
    ],
    ids=str,
)
def test_calls_and_clicks_make_no_train_and_are_strays_beside_one(shape: dict[str, int]) -> None:
    """Calls 122 to 174 ms apart; longer than a burst, swept as no sensor is, or a click."""
    calls = [Sound(60_000 + 1000 * ms, frequency_hz=hz, level_cdb=-900, **shape) for ms, hz in BAT_CALLS]
    alone = train_of(calls)
    assert (alone.count, alone.loudest_cdb) == (0, -32768)
    beside = train_of(calls + every(200_000, 20_000))
    assert (beside.count, beside.due, beside.strays, beside.rivals) == (7, 7, len(calls), 0)
    assert beside.frequency_hz == 48_000


@pytest.mark.parametrize("even_length", [60, 3_500])
def test_the_shortest_and_the_longest_burst_make_a_train(even_length: int) -> None:
    trains = train_of(every(200_000, length_us=even_length, sweep_hz=7_500))
    assert (trains.count, trains.burst_us) == (7, even_length)


@pytest.mark.parametrize(("level_cdb", "rivals"), [(-1399, 3), (-1400, 0)])
def test_other_bursts_as_loud_are_rivals(level_cdb: int, rivals: int) -> None:
    others = [Sound(ms * 1000, level_cdb=level_cdb, frequency_hz=52_000) for ms in (90, 333, 871)]
    trains = train_of(every(200_000) + others)
    assert (trains.count, trains.rivals, trains.strays) == (7, rivals, 0)


def test_a_train_is_found_however_it_slips_in_level() -> None:
    slipped = [replace(s, level_cdb=s.level_cdb - 700 * (i > 3)) for i, s in enumerate(every(200_000))]
    trains = train_of(slipped)
    assert (trains.count, trains.due, trains.spread_cdb) == (7, 7, 700)


def test_a_sound_35_db_fainter_on_the_beat_is_not_the_held_sensors() -> None:
    sounds = [replace(s, level_cdb=s.level_cdb - 3_500 * (i == 3)) for i, s in enumerate(every(200_000))]
    trains = train_of(sounds)
    assert (trains.count, trains.due, trains.spread_cdb) == (6, 7, 0)


def test_the_strongest_sounds_are_looked_at_where_there_are_too_many() -> None:
    clicks = [
        Sound(3_000 + 7_000 * i, level_cdb=-3_000, length_us=40, evidence_cdb=1_500 + i)
        for i in range(MOST - 7)
    ]
    trains = train_of(clicks + every(200_000))
    assert (len(trains.kinds), trains.count, trains.due) == (MOST, 7, 7)


def test_a_quieter_train_is_found_behind_louder_irregular_bursts() -> None:
    knocks = [Sound(ms * 1000, level_cdb=-100) for ms in (71, 318, 777)]
    trains = train_of(knocks + every(200_000, 20_000, level_cdb=-2_600))
    assert (trains.count, trains.level_cdb, trains.rivals) == (7, -2_600, 3)


@pytest.mark.parametrize("evidence_cdb", [950, 1_200, 1_389])
def test_faint_candidates_add_up_and_the_score_is_their_sum(evidence_cdb: int) -> None:
    """A hit is worth 800 and its evidence above 900; the first two being on time is no surprise."""
    candidates = faint(200_000, 50_000, evidence_cdb=evidence_cdb)
    trains = train_of(candidates)
    assert trains.count == 0
    assert (trains.siblings, trains.sibling_due, trains.sibling_interval_us) == (7, 7, 200_000)
    assert trains.faint_score == 7 * (800 + evidence_cdb - 900) - 1600
    assert trains.kinds == [OTHER] * 7
    gap = train_of(candidates[:3] + candidates[4:])
    assert (gap.siblings, gap.sibling_due) == (6, 7)
    assert gap.faint_score == 6 * (800 + evidence_cdb - 900) - 1600 - 300


def test_faint_candidates_of_other_frequencies_do_not_add_up() -> None:
    sounds = [
        replace(s, frequency_hz=44_000 + 3_600 * (i % 3)) for i, s in enumerate(faint(100_000, 50_000, 1200))
    ]
    assert train_of(sounds).sibling_interval_us == 300_000


def test_nothing_heard_is_no_train() -> None:
    trains = train_of([])
    assert (trains.count, trains.siblings, trains.faint_score, trains.loudest_cdb) == (0, 0, 0, -32768)


def test_a_second_sort_remembers_nothing_of_the_first() -> None:
    from curbtick_probe.bumper.trains.evidence import Evidence

    heard = Evidence()
    heard.sort(filled(every(200_000) + faint(200_000, 101_000)), limits_of(), LISTENED_US)
    heard.sort(filled([]), limits_of(), LISTENED_US)
    kept = {name: getattr(part_of(heard, part), field) for name, part, field in PLACES}
    assert kept == {name: getattr(part_of(evidence_of(), part), field) for name, part, field in PLACES}


@pytest.mark.parametrize("listened_us", [1_546_000, 1_541_800, 1_541_000])
def test_a_burst_in_the_readings_last_margin_does_not_hide_one_that_is_missing(listened_us: int) -> None:
    """The third of four is missing, and the last begins within 5 ms of the end: it counts as heard and as due."""
    sounds = [Sound(time_us) for time_us in (261_268, 686_475, 1_536_889)]
    trains = train_of(sounds, listened_us)
    assert (trains.count, trains.due) == (3, 4)


def test_the_last_margin_adds_no_burst_to_those_that_are_due() -> None:
    for end_us in range(1_205_000, 1_215_000, 500):
        trains = train_of([Sound(time_us) for time_us in range(10_000, end_us - 500, 200_000)], end_us)
        assert trains.count == trains.due


def test_the_longest_ringdown_is_known_beside_the_lower_quartile() -> None:
    rings = [3_757, 3_863, 3_892, 1_504]
    sounds = [
        replace(s, ringdown_us=ring) for s, ring in zip(every(189_000, until_us=700_000), rings, strict=True)
    ]
    trains = train_of(sounds, 700_000)
    assert (trains.ringdown_us, trains.ringdown_most_us) == (1_504, 3_892)


@pytest.mark.parametrize("length_us", [3_001, 5_000, 200_000])
@pytest.mark.parametrize("count", [1, 2, 7])
def test_there_is_no_dead_beside_a_loud_sound_of_any_length(count: int, length_us: int) -> None:
    """Three faint bursts make a train, siblings prove that the system transmits, and the loud ones are no bursts."""
    beside = faint(200_000, 100_000) + every(200_000, 150_000, until_us=700_000, level_cdb=-4_600)
    trains = train_of(every(200_000, length_us=length_us, level_cdb=-3_500)[:count] + beside)
    assert (trains.loud_cdb, trains.loud_us) == (-3_500, length_us)
    assert ruled(trains, before_us=200_000)[:2] == (RETRY, ["not_a_burst"])
    quieter = train_of(every(200_000, length_us=length_us, level_cdb=-3_501)[:count] + beside)
    assert ruled(quieter, before_us=200_000)[0] == DEAD


@pytest.mark.parametrize(
    ("frequency_hz", "length_us", "evidence_cdb", "near"),
    [
        (48_000, 60, 1_390, True),
        (39_500, 900, 6_000, True),
        (56_500, 900, 6_000, True),
        (39_499, 5_000, 6_000, False),
        (56_501, 5_000, 6_000, False),
        (48_000, 59, 6_000, False),
        (48_000, 900, 1_389, False),
    ],
)
def test_what_is_near_the_window_and_no_click_forbids_dead(
    frequency_hz: int, length_us: int, evidence_cdb: int, near: bool
) -> None:
    one = Sound(333_000, -2_000, frequency_hz, 20_000, length_us, evidence_cdb=evidence_cdb)
    trains = train_of([one, *faint(200_000, 100_000)])
    assert trains.loud_cdb == (-2_000 if near else -4_800)


@pytest.mark.parametrize(
    ("level_cdb", "said"), [(-3_501, (DEAD, ["only_neighbour"])), (-3_500, (RETRY, ["noisy"]))]
)
def test_a_faint_train_too_loud_for_a_neighbour_is_the_held_sensor_in_noise(
    level_cdb: int, said: tuple[int, list[str]]
) -> None:
    trains = train_of(every(200_000, level_cdb=level_cdb, evidence_cdb=2_100))
    assert (trains.count, trains.siblings, trains.sibling_cdb) == (0, 7, level_cdb)
    assert ruled(trains)[:2] == said
