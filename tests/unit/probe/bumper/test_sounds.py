"""The columns of sounds: rows in time order, and what happens when there are more than fit."""

from typing import Any

import pytest
from curbtick_probe.bumper.trains.sounds import MOST, Sounds
from hypothesis import given
from hypothesis import strategies as st


def claimed(evidences: list[int]) -> Any:
    """Sounds that were offered these, each marked by its place among them in time_us."""
    sounds = Sounds()
    for place, evidence_cdb in enumerate(evidences):
        row = sounds.claim(evidence_cdb, place)
        if row >= 0:
            sounds.evidence_cdb[row] = evidence_cdb
    return sounds


def places(sounds: Any) -> list[int]:
    return list(sounds.time_us[: sounds.count])


def test_rows_are_given_in_order_until_they_are_all_taken() -> None:
    sounds = claimed([1000] * MOST)
    assert (sounds.count, sounds.dropped, places(sounds)) == (MOST, 0, list(range(MOST)))


def test_a_stronger_sound_takes_the_weakest_ones_place_and_comes_last() -> None:
    evidences = [2000] * MOST
    evidences[40] = 1500
    sounds = claimed([*evidences, 1501])
    assert places(sounds) == [*range(40), *range(41, MOST), MOST]
    assert (sounds.count, sounds.dropped) == (MOST, 1)


@pytest.mark.parametrize("evidence_cdb", [1500, 1499])
def test_a_sound_that_is_not_stronger_than_the_weakest_is_not_worth_a_row(evidence_cdb: int) -> None:
    sounds = claimed([2000] * (MOST - 1) + [1500])
    assert sounds.claim(evidence_cdb, MOST) == -1
    assert (sounds.count, sounds.dropped, places(sounds)) == (MOST, 1, list(range(MOST)))


def test_every_column_moves_together() -> None:
    sounds = claimed([2000] * MOST)
    sounds.evidence_cdb[3] = 1000
    for number, column in enumerate(sounds.columns[:-2]):
        for row in range(MOST):
            column[row] = 1000 * number + row
    assert sounds.claim(3000, 10**6) == MOST - 1
    rows = [row for row in range(MOST) if row != 3]
    for number, column in enumerate(sounds.columns[:-2]):
        assert list(column[: MOST - 1]) == [1000 * number + row for row in rows]


def test_clear_forgets_count_and_dropped() -> None:
    sounds = claimed([1000] * (MOST + 5))
    assert sounds.dropped == 5
    sounds.clear()
    assert (sounds.count, sounds.dropped, sounds.claim(0, 0)) == (0, 0, 0)


@given(st.lists(st.integers(0, 9000), max_size=MOST + 60))
def test_the_strongest_are_kept_in_the_order_they_came(evidences: list[int]) -> None:
    sounds = claimed(evidences)
    kept = places(sounds)
    assert kept == sorted(kept) and len(kept) == min(MOST, len(evidences))
    assert sounds.dropped == max(0, len(evidences) - MOST)
    strongest = sorted(evidences, reverse=True)[:MOST]
    assert sorted((evidences[place] for place in kept), reverse=True) == strongest


@given(st.lists(st.tuples(st.integers(0, 9000), st.integers(0, 50)), max_size=MOST + 20))
def test_sounds_offered_in_any_order_stand_in_the_order_of_their_starts(
    offered: list[tuple[int, int]],
) -> None:
    sounds = Sounds()
    for evidence_cdb, time_us in offered:
        row = sounds.claim(evidence_cdb, time_us)
        if row >= 0:
            sounds.evidence_cdb[row] = evidence_cdb
    kept = list(zip(sounds.time_us[: sounds.count], sounds.evidence_cdb[: sounds.count], strict=True))
    assert [time_us for time_us, _ in kept] == sorted(time_us for time_us, _ in kept)
    strongest = sorted((evidence_cdb for evidence_cdb, _ in offered), reverse=True)[:MOST]
    assert sorted((evidence_cdb for _, evidence_cdb in kept), reverse=True) == strongest
    assert all((time_us, evidence_cdb) in {(t, e) for e, t in offered} for time_us, evidence_cdb in kept)
