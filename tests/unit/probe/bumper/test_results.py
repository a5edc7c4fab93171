"""From the readings of a bumper to its result: proof between positions, siblings compared, and what is left open."""

from typing import Any

import pytest
from curbtick_probe.bumper import result
from curbtick_wire import names
from curbtick_wire.names import (
    BUMPER_ALL_PASS,
    BUMPER_INCOMPLETE,
    BUMPER_NOT_TRANSMITTING,
    BUMPER_REPAIR,
    DEAD,
    PASS,
    RETRY,
    WEAK,
)

from tests.unit.probe.bumper.readingdata import LIMIT_SET


def reading(said: int, *reasons: str, level_cdb: int = -800, proofs: tuple[str, ...] = ()) -> dict[str, int]:
    return {
        "verdict": said,
        "reasons": names.mask_of(names.REASONS, reasons),
        "proofs": names.mask_of(names.PROOFS, proofs),
        "level_cdb": level_cdb,
    }


SILENT = reading(RETRY, "nothing_heard", level_cdb=-32768, proofs=("front_end_live",))
SILENT_UNPROVED = reading(RETRY, "nothing_heard", level_cdb=-32768)
GOOD = reading(PASS)
POOR = reading(WEAK, "low_level", level_cdb=-2200)
GONE = reading(DEAD, "only_neighbour", level_cdb=-32768)
GONE_QUIET = reading(DEAD, "nothing_heard", level_cdb=-32768)
FAINT = reading(DEAD, "low_level", level_cdb=-3900)
FAINT_UNPROVED = reading(RETRY, "nothing_heard", "low_level", level_cdb=-3900, proofs=("front_end_live",))
LOUD_YARD = reading(RETRY, "noisy", level_cdb=-32768)


def result_of(*readings: Any, **changed: int) -> tuple[int, list[int], list[list[str]]]:
    """The firmware's result, verdicts and reasons in words."""
    said, verdicts, reasons = result.bumper_result(list(readings), {**LIMIT_SET, **changed})
    return said, verdicts, [names.words_of(names.REASONS, mask) for mask in reasons]


@pytest.mark.parametrize(
    ("readings", "result"),
    [
        ([GOOD] * 4, BUMPER_ALL_PASS),
        ([GOOD], BUMPER_ALL_PASS),
        ([GOOD, GOOD, POOR], BUMPER_REPAIR),
        ([GOOD, GONE, GOOD], BUMPER_REPAIR),
        ([POOR] * 4, BUMPER_REPAIR),
        ([GONE] * 4, BUMPER_NOT_TRANSMITTING),
        ([GONE] * 6, BUMPER_NOT_TRANSMITTING),
        ([GONE], BUMPER_NOT_TRANSMITTING),
        ([GONE, SILENT, GONE_QUIET], BUMPER_NOT_TRANSMITTING),
        ([GONE, FAINT], BUMPER_REPAIR),
        ([GONE, POOR], BUMPER_REPAIR),
        ([GONE, GONE, None], BUMPER_INCOMPLETE),
        ([GOOD, None, GOOD, GOOD], BUMPER_INCOMPLETE),
        ([GOOD, LOUD_YARD, POOR], BUMPER_INCOMPLETE),
        ([None] * 4, BUMPER_INCOMPLETE),
        ([LOUD_YARD] * 4, BUMPER_INCOMPLETE),
        ([SILENT] * 4, BUMPER_NOT_TRANSMITTING),
        ([SILENT_UNPROVED] * 6, BUMPER_NOT_TRANSMITTING),
        ([SILENT, SILENT, None], BUMPER_INCOMPLETE),
        ([SILENT, SILENT, LOUD_YARD], BUMPER_INCOMPLETE),
        ([SILENT, GONE], BUMPER_NOT_TRANSMITTING),
    ],
)
def test_the_bumpers_result(readings: list[Any], result: int) -> None:
    assert result_of(*readings)[0] == result


def test_what_was_not_read_or_must_be_read_again_stays_retry() -> None:
    _, verdicts, reasons = result_of(GOOD, None, LOUD_YARD, POOR)
    assert verdicts == [PASS, RETRY, RETRY, WEAK]
    assert reasons == [[], [], ["noisy"], ["low_level"]]


@pytest.mark.parametrize("other", [GOOD, POOR])
def test_a_silent_position_is_dead_once_another_was_heard(other: dict[str, int]) -> None:
    result, verdicts, reasons = result_of(SILENT, other, SILENT)
    assert (result, verdicts) == (BUMPER_REPAIR, [DEAD, other["verdict"], DEAD])
    assert reasons[0] == reasons[2] == ["nothing_heard"]


def test_silence_without_a_live_front_end_stays_retry() -> None:
    assert result_of(GOOD, SILENT_UNPROVED)[:2] == (BUMPER_INCOMPLETE, [PASS, RETRY])


def test_a_microphone_fault_is_never_settled_by_others() -> None:
    broken = reading(RETRY, "microphone_fault", proofs=("front_end_live",))
    assert result_of(GOOD, broken)[1] == [PASS, RETRY]
    assert result_of(broken, broken)[0] == BUMPER_INCOMPLETE


def test_all_silent_says_that_the_system_does_not_transmit_and_blames_no_sensor() -> None:
    _, verdicts, reasons = result_of(SILENT, SILENT, SILENT, SILENT)
    assert verdicts == [RETRY] * 4
    assert reasons == [["nothing_heard", "not_transmitting"]] * 4


def test_only_a_neighbour_heard_at_every_place_blames_no_sensor() -> None:
    """A neighbour that is heard must be heard at its own place; here something else was heard."""
    _, verdicts, reasons = result_of(GONE, GONE, SILENT)
    assert verdicts == [RETRY] * 3
    assert reasons == [
        ["only_neighbour", "not_transmitting"],
        ["only_neighbour", "not_transmitting"],
        ["nothing_heard", "not_transmitting"],
    ]


@pytest.mark.parametrize(("level_cdb", "said"), [(-1600, PASS), (-1601, WEAK)])
def test_a_pass_far_below_three_others_is_weak(level_cdb: int, said: int) -> None:
    low = reading(PASS, level_cdb=level_cdb)
    result, verdicts, reasons = result_of(GOOD, low, GOOD, GOOD)
    assert verdicts == [PASS, said, PASS, PASS]
    assert reasons[1] == ([] if said == PASS else ["below_siblings"])
    assert result == (BUMPER_ALL_PASS if said == PASS else BUMPER_REPAIR)


@pytest.mark.parametrize("others", [[GOOD, GOOD], [GOOD, GOOD, POOR], [GOOD, GOOD, GONE, SILENT, None]])
def test_with_fewer_than_three_other_passes_nothing_is_compared(others: list[Any]) -> None:
    assert result_of(reading(PASS, level_cdb=-1690), *others)[1][0] == PASS


def test_the_median_is_of_the_others_alone_and_of_passes_alone() -> None:
    """Others at -200, -400, -900, -1000 have the median -650; a WEAK one counts for nothing."""
    others = [reading(PASS, level_cdb=level_cdb) for level_cdb in (-1000, -200, -900, -400)]
    assert result_of(reading(PASS, level_cdb=-1450), *others)[1][0] == PASS
    assert result_of(reading(PASS, level_cdb=-1451), *others)[1][0] == WEAK
    assert result_of(reading(PASS, level_cdb=-1450), *others, POOR)[1][0] == PASS
    assert result_of(reading(PASS, level_cdb=-1451), *others, below_siblings_cdb=802)[1][0] == PASS


def test_two_that_fell_behind_do_not_hide_each_other() -> None:
    low = reading(PASS, level_cdb=-1690)
    assert result_of(GOOD, GOOD, GOOD, GOOD, low, low)[1] == [PASS] * 4 + [WEAK] * 2


def test_the_readings_themselves_are_left_alone() -> None:
    low = reading(PASS, level_cdb=-1690)
    kept = dict(low)
    result_of(GOOD, low, GOOD, GOOD, SILENT)
    assert low == kept and SILENT["verdict"] == RETRY


def test_an_odd_number_of_others_has_the_middle_one_for_its_median() -> None:
    others = [reading(PASS, level_cdb=level) for level in (-600, -1000, -1400)]
    assert result_of(reading(PASS, level_cdb=-1800), *others)[1][0] == PASS
    assert result_of(reading(PASS, level_cdb=-1801), *others)[1][0] == WEAK


def test_what_was_heard_too_faintly_is_not_settled_by_another_place() -> None:
    """The port may have been clogged since: what was heard elsewhere does not tell."""
    said, verdicts, _ = result.bumper_result([GOOD, FAINT_UNPROVED], LIMIT_SET)
    assert (said, verdicts) == (BUMPER_INCOMPLETE, [PASS, RETRY])
    assert result.bumper_result([GOOD, SILENT], LIMIT_SET)[1] == [PASS, DEAD]
