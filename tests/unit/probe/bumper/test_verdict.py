"""From a measured train to a verdict: every reason and every branch, each limit on both sides."""

from typing import Any

import pytest
from curbtick_probe import reason
from curbtick_probe.bumper import verdict
from curbtick_probe.bumper.train import Trains
from curbtick_wire.names import DEAD, PASS, RETRY, WEAK

from tests.unit.probe.bumper.readingdata import LIMIT_SET, limits_of, ruled

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
SIBLINGS = {"siblings": 6, "sibling_due": 6, "faint_score": 9000, "sibling_interval_us": 200_000}
BELOW_DEAD = {**HEARD, "level_cdb": -3600, "loudest_cdb": -3600}


def trains_of(*parts: dict[str, Any], **fields: Any) -> Any:
    """Sorted trains with these fields; the rest as after nothing was heard."""
    trains = Trains()
    for name, value in {**{k: v for part in parts for k, v in part.items()}, **fields}.items():
        assert hasattr(trains, name)
        setattr(trains, name, value)
    return trains


def test_a_healthy_train_passes_with_nothing_against_it() -> None:
    assert ruled(trains_of(HEARD, SIBLINGS), heard_before=True) == (
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
        ({"twins": 1}, "noisy"),
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
@pytest.mark.parametrize("fields", [HEARD, BELOW_DEAD, {}], ids=["heard", "below dead", "silent"])
def test_noise_beyond_the_limit_is_retry_whatever_was_heard(
    fields: dict[str, int], noise_cdb: int, reason: list[str]
) -> None:
    said = ruled(trains_of(fields, SIBLINGS), noise_cdb=noise_cdb, heard_before=True)
    assert (said[:2] == (RETRY, ["noisy"])) is bool(reason)


@pytest.mark.parametrize(
    ("noise_cdb", "expected"), [(-3100, (WEAK, ["low_level"])), (-3099, (RETRY, ["noisy"]))]
)
def test_a_train_must_stand_6_db_over_the_noise(noise_cdb: int, expected: tuple[int, list[str]]) -> None:
    assert ruled(trains_of(HEARD, level_cdb=-2500), noise_cdb=noise_cdb)[:2] == expected


@pytest.mark.parametrize(
    ("train", "asked", "expected"),
    [
        ({}, {"live": True, "heard_before": True}, (DEAD, ["nothing_heard"])),
        ({}, {"live": True, "heard_before": False}, (RETRY, ["nothing_heard"])),
        ({}, {"live": False, "heard_before": True}, (RETRY, ["microphone_fault"])),
        ({}, {"live": False, "heard_before": False}, (RETRY, ["microphone_fault"])),
        (SIBLINGS, {"live": False}, (DEAD, ["only_neighbour"])),
        (SIBLINGS, {"live": True, "heard_before": True}, (DEAD, ["only_neighbour"])),
        (BELOW_DEAD, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "level_cdb": -4099}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "level_cdb": -4100}, {}, (DEAD, ["only_neighbour"])),
        ({**BELOW_DEAD, "count": 4}, {"live": False}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "count": 3}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "count": 4, "due": 8}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "count": 4, "due": 9}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "rivals": 7}, {}, (DEAD, ["low_level"])),
        ({**BELOW_DEAD, "rivals": 8}, {}, (RETRY, ["nothing_heard"])),
        ({**BELOW_DEAD, "count": 3, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({"loudest_cdb": -3500}, {"heard_before": True}, (RETRY, ["too_few_bursts"])),
        ({"loudest_cdb": -3500, **SIBLINGS}, {"heard_before": True}, (RETRY, ["too_few_bursts"])),
        ({"loudest_cdb": -3501, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({**HEARD, "count": 1, "loudest_cdb": -800}, {"heard_before": True}, (RETRY, ["too_few_bursts"])),
        ({"odd_cdb": -3500, **SIBLINGS}, {"heard_before": True}, (RETRY, ["not_a_burst"])),
        ({"odd_cdb": -3501, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({"sibling_cdb": -3500, **SIBLINGS}, {"heard_before": True}, (RETRY, ["noisy"])),
        ({"sibling_cdb": -3501, **SIBLINGS}, {}, (DEAD, ["only_neighbour"])),
        ({"sibling_cdb": -3500}, {"heard_before": True}, (DEAD, ["nothing_heard"])),
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
    assert ruled(trains_of(HEARD, level_cdb=level_cdb, loudest_cdb=level_cdb)) == (
        said,
        ["low_level"],
        ["front_end_live"] if said == WEAK else ["sibling_heard", "front_end_live"],
    )


@pytest.mark.parametrize(
    ("fields", "proved"),
    [
        ({}, True),
        ({"siblings": 4, "sibling_due": 4}, True),
        ({"siblings": 3, "sibling_due": 3}, False),
        ({"siblings": 6, "sibling_due": 12}, True),
        ({"siblings": 6, "sibling_due": 13}, False),
        ({"faint_score": 2000}, True),
        ({"faint_score": 1999}, False),
        ({"repeating": 3, "clear_count": 6}, True),
        ({"repeating": 3, "clear_count": 7}, False),
    ],
    ids=str,
)
def test_a_siblings_train_is_proof_with_bursts_share_and_score(fields: dict[str, int], proved: bool) -> None:
    trains = trains_of(SIBLINGS, **fields)
    assert verdict.sibling_proof(trains) is proved
    said = ruled(trains, live=False)
    assert said == (
        (DEAD, ["only_neighbour"], ["sibling_heard"]) if proved else (RETRY, ["microphone_fault"], [])
    )


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
        ({"open_question": True}, False),
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
        ({"ringdown_us": 59}, False),
        ({"ringdown_most_us": 2500}, True),
        ({"ringdown_most_us": 2501}, False),
    ],
    ids=str,
)
def test_an_early_pass_wants_everything_well_inside(fields: dict[str, int], early: bool) -> None:
    trains = trains_of(HEARD, **fields)
    assert verdict.clearly_passes(trains, LIMITS) is early
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
