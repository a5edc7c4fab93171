"""From a measured train to a verdict: every reason and every branch, each limit on both sides."""

from typing import Any

import pytest
from curbtick_probe import reason
from curbtick_probe.bumper import verdict
from curbtick_probe.bumper.trains import cycle, loop
from curbtick_wire.names import DEAD, PASS, RETRY, WEAK

from tests.unit.probe.bumper.readingdata import LIMIT_SET, evidence_of, limits_of, ruled

LIMITS = limits_of(48)
HEARD = {
    "count": 7,
    "due": 7,
    "interval_us": 200_000,
    "level_cdb": -800,
    "frequency_hz": 48_000,
    "burst_us": 600,
    "ringdown_us": 500,
    "loudest_cdb": -800,
}
SIBLINGS = {
    "siblings": 6,
    "sibling_due": 6,
    "sibling_clear": 6,
    "faint_score": 9000,
    "sibling_interval_us": 200_000,
    "sibling_cdb": -4800,
    "sibling_hz": 48_000,
}
BELOW_DEAD = {**HEARD, "level_cdb": -3600, "loudest_cdb": -3600}


def trains_of(*parts: dict[str, Any], **fields: Any) -> Any:
    """Evidence with these fields; the rest as after nothing was heard."""
    found = {**{k: v for part in parts for k, v in part.items()}, **fields}
    if "level_cdb" in found:
        found = {"top_cdb": found["level_cdb"], **found}
    return evidence_of(**found)


def test_a_healthy_train_passes_with_nothing_against_it() -> None:
    assert ruled(trains_of(HEARD, SIBLINGS), before_us=200_000) == (
        PASS,
        [],
        ["sibling_heard", "bumper_heard_before", "front_end_live"],
    )
    assert ruled(trains_of(HEARD), live=False) == (PASS, [], [])


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"level_cdb": -2000}, None),
        ({"level_cdb": -2001}, "low_level"),
        ({"level_cdb": -3500}, "low_level"),
        ({"frequency_hz": 41_500}, None),
        ({"frequency_hz": 54_500}, None),
        ({"frequency_hz": 41_499}, "off_frequency"),
        ({"frequency_hz": 54_501}, "off_frequency"),
        ({"interval_us": 30_000}, None),
        ({"interval_us": 29_999}, "irregular"),
        ({"interval_us": 500_999}, None),
        ({"interval_us": 501_000}, "irregular"),
        ({"count": 13, "due": 17}, None),
        ({"count": 12, "due": 16}, "irregular"),
        ({"count": 3, "due": 6}, "irregular"),
        ({"ringdown_us": 60}, None),
        ({"ringdown_us": 59}, "odd_ringdown"),
        ({"ringdown_us": 0}, "odd_ringdown"),
        ({"ringdown_us": 2500}, None),
        ({"ringdown_us": 2501}, "odd_ringdown"),
        ({"ringdown_us": -1}, None),
    ],
    ids=str,
)
def test_each_limit_makes_weak_from_its_edge_on(fields: dict[str, int], reason: str | None) -> None:
    expected = (PASS, []) if reason is None else (WEAK, [reason])
    assert ruled(trains_of(HEARD, SIBLINGS, **fields))[:2] == expected


def test_weak_says_all_that_is_wrong() -> None:
    trains = trains_of(HEARD, level_cdb=-2300, frequency_hz=40_000, count=4, due=8, ringdown_us=10)
    reasons = ["low_level", "off_frequency", "irregular", "odd_ringdown"]
    assert ruled(trains)[:2] == (WEAK, reasons)


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"count": 2, "due": 2}, "too_few_bursts"),
        ({"burst_us": 3001}, "not_a_burst"),
        ({"spread_cdb": 501}, "moved"),
        ({"rivals": 8}, "noisy"),
        ({"timing": cycle.UNKNOWN}, "timing_unknown"),
        ({"timing": cycle.PART, "count": 5}, "starts_or_stops"),
        ({"count": 6, "due": 7}, "too_few_bursts"),
    ],
    ids=str,
)
def test_what_cannot_be_trusted_is_retry_even_where_it_looks_weak(
    fields: dict[str, int], reason: str
) -> None:
    assert ruled(trains_of(HEARD, **fields))[:2] == (RETRY, [reason])
    assert ruled(trains_of(HEARD, level_cdb=-2500, **fields))[:2] == (RETRY, [reason])


@pytest.mark.parametrize(
    "fields",
    [
        {"count": 3, "due": 3},
        {"burst_us": 3000},
        {"spread_cdb": 500},
        {"rivals": 7},
        {"strays": 50},
        {"count": 7, "due": 8},
    ],
    ids=str,
)
def test_up_to_its_edge_each_of_them_passes(fields: dict[str, int]) -> None:
    assert ruled(trains_of(HEARD, **fields))[:2] == (PASS, [])


@pytest.mark.parametrize(
    ("fields", "doubtful"),
    [
        ({"count": 6, "due": 7}, True),
        ({"count": 7, "due": 7}, False),
        ({"count": 7, "due": 8}, False),
        ({"count": 5, "due": 7}, False),
        ({"count": 6, "due": 7, **SIBLINGS}, False),
        ({"count": 6, "due": 7, **SIBLINGS, "siblings": 4}, False),
        ({"count": 6, "due": 7, **SIBLINGS, "siblings": 3}, True),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 200_400}, False),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 199_600}, False),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 400_400}, False),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 200_401}, True),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 199_599}, True),
        ({"count": 6, "due": 7, **SIBLINGS, "sibling_interval_us": 100_000}, True),
    ],
    ids=str,
)
def test_a_single_miss_is_doubtful_unless_siblings_keep_the_interval(
    fields: dict[str, int], doubtful: bool
) -> None:
    assert verdict.is_doubtful(trains_of(HEARD, **fields), LIMITS) is doubtful


@pytest.mark.parametrize(("noise_cdb", "reason"), [(-3000, []), (-2999, ["noisy"]), (0, ["noisy"])])
@pytest.mark.parametrize("fields", [HEARD], ids=["heard"])
def test_noise_beyond_the_limit_is_retry_whatever_was_heard(
    fields: dict[str, int], noise_cdb: int, reason: list[str]
) -> None:
    said = ruled(trains_of(fields, SIBLINGS), noise_cdb=noise_cdb, before_us=200_000)
    assert (said[:2] == (RETRY, ["noisy"])) is bool(reason)


@pytest.mark.parametrize(("noise_cdb", "said"), [(-3900, DEAD), (-3899, RETRY)])
@pytest.mark.parametrize("fields", [BELOW_DEAD, {}], ids=["below dead", "silent"])
def test_noise_that_may_hide_a_burst_at_the_dead_limit_lets_nobody_say_dead(
    fields: dict[str, int], noise_cdb: int, said: int
) -> None:
    assert ruled(trains_of(fields, SIBLINGS), noise_cdb=noise_cdb, before_us=200_000)[0] == said


@pytest.mark.parametrize(
    ("noise_cdb", "expected"), [(-3100, (WEAK, ["low_level"])), (-3099, (RETRY, ["noisy"]))]
)
def test_a_train_must_stand_6_db_over_the_noise(noise_cdb: int, expected: tuple[int, list[str]]) -> None:
    assert ruled(trains_of(HEARD, level_cdb=-2500), noise_cdb=noise_cdb)[:2] == expected


@pytest.mark.parametrize(
    ("train", "asked", "expected"),
    [
        ({}, {"live": True, "before_us": 200_000}, (DEAD, ["nothing_heard"])),
        ({}, {"live": True, "before_us": 0}, (RETRY, ["nothing_heard"])),
        ({}, {"live": False, "before_us": 200_000}, (RETRY, ["microphone_fault"])),
        ({}, {"live": False, "before_us": 0}, (RETRY, ["microphone_fault"])),
        (SIBLINGS, {"live": False}, (RETRY, ["microphone_fault"])),
        (SIBLINGS, {"live": True, "before_us": 200_000}, (DEAD, ["only_neighbour"])),
        (SIBLINGS, {"before_us": 130_000}, (DEAD, ["nothing_heard"])),
        (BELOW_DEAD, {"before_us": 200_000}, (RETRY, ["low_level", "nothing_heard"])),
        ({**BELOW_DEAD, **SIBLINGS}, {"before_us": 200_000}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, **SIBLINGS}, {}, (DEAD, ["low_level"])),
        (BELOW_DEAD, {}, (RETRY, ["low_level", "nothing_heard"])),
        (BELOW_DEAD, {"live": False}, (RETRY, ["microphone_fault"])),
        ({**BELOW_DEAD, **SIBLINGS, "level_cdb": -4099}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "level_cdb": -4100}, {}, (DEAD, ["only_neighbour"])),
        ({**BELOW_DEAD, "level_cdb": -5435}, {}, (DEAD, ["only_neighbour"])),
        ({**BELOW_DEAD, "level_cdb": -5436}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "frequency_hz": 54_501}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "spread_cdb": 501}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "count": 3}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, **SIBLINGS, "count": 6, "due": 8}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "count": 6, "due": 9}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, **SIBLINGS, "rivals": 7}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "rivals": 8}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "count": 3, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({"loudest_cdb": -3500}, {"before_us": 200_000}, (RETRY, ["too_few_bursts"])),
        ({"loudest_cdb": -3500, **SIBLINGS}, {"before_us": 200_000}, (RETRY, ["too_few_bursts"])),
        ({"loudest_cdb": -3501, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({**HEARD, "count": 1, "loudest_cdb": -800}, {"before_us": 200_000}, (RETRY, ["too_few_bursts"])),
        ({"loud_cdb": -3500, "loud_us": 3000, **SIBLINGS}, {}, (RETRY, ["too_few_bursts"])),
        ({"loud_cdb": -3500, "loud_us": 3001, **SIBLINGS}, {}, (RETRY, ["not_a_burst"])),
        ({"loud_cdb": -3501, "loud_us": 3001, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({**SIBLINGS, "sibling_cdb": -3500}, {"before_us": 200_000}, (RETRY, ["noisy"])),
        ({**SIBLINGS, "sibling_cdb": -3501}, {}, (DEAD, ["only_neighbour"])),
        ({"sibling_cdb": -3500}, {"before_us": 200_000}, (DEAD, ["nothing_heard"])),
    ],
    ids=str,
)
def test_silence_is_dead_only_with_proof(
    train: dict[str, int], asked: dict[str, bool], expected: tuple[int, list[str]]
) -> None:
    assert ruled(trains_of(train), None, **asked)[:2] == expected


@pytest.mark.parametrize(("level_cdb", "said"), [(-3500, WEAK), (-3501, DEAD)])
def test_the_dead_limit_parts_weak_from_dead(level_cdb: int, said: int) -> None:
    """Between pass and dead lies the guard zone: WEAK. Only below it a sensor is DEAD."""
    heard = trains_of(HEARD, SIBLINGS, level_cdb=level_cdb, loudest_cdb=level_cdb)
    assert ruled(heard) == (said, ["low_level"], ["sibling_heard", "front_end_live"])


def test_one_burst_at_the_dead_limit_is_weak() -> None:
    """The median lies below it, but never is DEAD said beside such a burst."""
    heard = trains_of(HEARD, SIBLINGS, level_cdb=-3550, top_cdb=-3500, loudest_cdb=-3500)
    assert ruled(heard)[:2] == (WEAK, ["low_level"])


def test_a_low_level_is_a_sensors_only_where_the_microphone_is_live() -> None:
    assert ruled(trains_of(HEARD, level_cdb=-2500), live=False)[:2] == (RETRY, ["microphone_fault"])
    assert ruled(trains_of(HEARD, frequency_hz=40_000), live=False)[:2] == (WEAK, ["off_frequency"])


@pytest.mark.parametrize(
    ("fields", "proved"),
    [
        ({}, True),
        ({"siblings": 4, "sibling_due": 4, "sibling_clear": 4}, True),
        ({"siblings": 6, "sibling_due": 8}, True),
        ({"siblings": 6, "sibling_due": 9}, False),
        ({"sibling_clear": 4}, True),
        ({"sibling_clear": 3}, False),
        ({"sibling_cdb": -5435}, True),
        ({"sibling_cdb": -5436}, False),
        ({"sibling_hz": 54_500}, True),
        ({"sibling_hz": 54_501}, False),
        ({"sibling_hz": 41_499}, False),
        ({"sibling_interval_us": 30_000}, True),
        ({"sibling_interval_us": 29_999}, False),
        ({"sibling_interval_us": 501_000}, False),
        ({"faint_score": 2000}, True),
        ({"faint_score": 1999}, False),
        ({"repeating": 3, "others": 6}, True),
        ({"repeating": 3, "others": 7}, False),
    ],
    ids=str,
)
def test_a_siblings_train_is_proof_with_bursts_share_and_score(fields: dict[str, int], proved: bool) -> None:
    trains = trains_of(SIBLINGS, **fields)
    assert verdict.sibling_proof(trains.siblings, LIMITS, 0) is proved
    said = ruled(trains)
    assert said == (
        (DEAD, ["only_neighbour"], ["sibling_heard", "front_end_live"])
        if proved
        else (RETRY, ["nothing_heard"], ["front_end_live"])
    )
    assert ruled(trains, live=False)[:2] == (RETRY, ["microphone_fault"])


@pytest.mark.parametrize(
    ("interval_us", "before_us", "agree"),
    [
        (200_000, 0, True),
        (200_000, 1, True),
        (200_000, 200_000, True),
        (200_000, 201_005, True),
        (200_000, 201_006, False),
        (200_000, 199_000, True),
        (200_000, 198_999, False),
        (200_000, 100_000, True),
        (200_000, 400_000, True),
        (300_000, 100_000, True),
        (120_000, 480_000, True),
        (100_000, 500_000, False),
        (150_000, 100_000, False),
    ],
)
def test_siblings_agree_with_this_bumpers_own_cycle(interval_us: int, before_us: int, agree: bool) -> None:
    assert loop.agrees(interval_us, before_us) is agree
    proofs = ruled(trains_of(SIBLINGS, sibling_interval_us=interval_us), before_us=before_us)[2]
    assert ("sibling_heard" in proofs) is agree


@pytest.mark.parametrize(
    ("interval_us", "before_us", "doubt"),
    [
        (200_000, 0, False),
        (200_000, 1, False),
        (200_000, 200_000, False),
        (200_000, 400_000, False),
        (200_000, 100_000, True),
        (200_000, 100_500, True),
        (200_000, 100_501, False),
        (210_000, 70_000, True),
        (240_000, 60_000, True),
        (250_000, 50_000, False),
        (200_000, 130_000, False),
    ],
)
def test_a_sensor_that_comes_once_in_a_few_of_its_bumpers_cycles_never_passes(
    interval_us: int, before_us: int, doubt: bool
) -> None:
    trains = trains_of(HEARD, interval_us=interval_us)
    assert verdict.clearly_passes(trains, LIMITS, before_us) is not doubt
    expected = (RETRY, ["timing_unknown"]) if doubt else (PASS, [])
    assert ruled(trains, before_us=before_us)[:2] == expected


def test_siblings_of_a_quicker_loop_are_a_doubt_unless_another_place_kept_the_same_cycle() -> None:
    trains = trains_of(HEARD, SIBLINGS, interval_us=400_000, is_quicker=True)
    assert ruled(trains)[:2] == (RETRY, ["timing_unknown"])
    assert ruled(trains, before_us=200_000)[:2] == (RETRY, ["timing_unknown"])
    assert ruled(trains, before_us=400_000)[:2] == (PASS, [])
    assert ruled(trains_of(HEARD, SIBLINGS, interval_us=400_000))[:2] == (PASS, [])


@pytest.mark.parametrize(
    ("fields", "early"),
    [
        ({}, True),
        ({"count": 3, "due": 3}, True),
        ({"count": 2, "due": 2}, False),
        ({"due": 8}, False),
        ({"count": 40, "due": 41}, False),
        ({"rivals": 1}, False),
        ({"strays": 1}, False),
        ({"timing": cycle.UNEVEN}, False),
        ({"timing": cycle.UNKNOWN}, False),
        ({"timing": cycle.PART}, False),
        ({"spread_cdb": 250}, True),
        ({"spread_cdb": 251}, False),
        ({"level_cdb": -1750}, True),
        ({"level_cdb": -1751}, False),
        ({"burst_us": 3000}, True),
        ({"burst_us": 3001}, False),
        ({"frequency_hz": 53_300}, True),
        ({"frequency_hz": 53_301}, False),
        ({"frequency_hz": 42_700}, True),
        ({"frequency_hz": 42_699}, False),
        ({"interval_us": 29_000}, False),
        ({"interval_us": 250_000}, True),
        ({"interval_us": 250_001}, False),
        ({"ringdown_us": 59}, False),
        ({"ringdown_most_us": 2500}, True),
        ({"ringdown_most_us": 2501}, False),
    ],
    ids=str,
)
def test_an_early_pass_wants_everything_well_inside(fields: dict[str, int], early: bool) -> None:
    trains = trains_of(HEARD, **fields)
    assert verdict.clearly_passes(trains, LIMITS, 0) is early
    if early:
        assert ruled(trains)[:2] == (PASS, [])


def test_a_new_ruling_is_a_retry() -> None:
    ruling = verdict.Ruling()
    assert (ruling.verdict, ruling.reasons, ruling.proofs) == (RETRY, reason.NOTHING_HEARD, 0)


def test_a_ruling_made_before_leaves_nothing_in_the_next() -> None:
    ruling = verdict.Ruling()
    ruling.set(PASS, 0, 7)
    verdict.decide(ruling, trains_of(), LIMITS, LIMIT_SET, -6000, True, False)
    live = verdict.FRONT_END_LIVE
    assert (ruling.verdict, ruling.reasons, ruling.proofs) == (RETRY, reason.NOTHING_HEARD, live)
