"""Counted values against the same statistics of the values themselves."""

import pytest
from curbtick.limits import robust
from curbtick.limits.tally import STEPS_PER_DB, Tally
from hypothesis import given
from hypothesis import strategies as st

steps = st.lists(st.integers(-4000, 4000), min_size=1, max_size=60)


def tallied(values: list[int]) -> Tally:
    made = Tally()
    for value in values:
        made.add(value)
    return made


def in_db(values: list[int]) -> list[float]:
    return [value / STEPS_PER_DB for value in values]


@given(steps)
def test_a_tally_says_what_the_values_say(values: list[int]) -> None:
    found, levels = tallied(values), in_db(values)
    assert len(found) == len(values)
    assert found.mad_sigma_db == pytest.approx(robust.mad_sigma(levels))
    assert found.sigma_of_differences_db == pytest.approx(robust.sigma_of_differences(levels))
    theirs = robust.moments(levels)
    assert found.moments.mean_db == pytest.approx(theirs.mean_db, abs=1e-9)
    assert found.moments.sigma == pytest.approx(theirs.sigma, abs=1e-9)


@given(steps)
def test_a_tally_sets_the_same_values_aside(values: list[int]) -> None:
    kept = tallied(values).without_outliers(0.3)
    assert sorted(kept.counts.elements()) == sorted(
        round(level * STEPS_PER_DB) for level in robust.without_outliers(in_db(values), 0.3)
    )


def test_an_empty_tally_has_no_median() -> None:
    with pytest.raises(ValueError, match="no middle"):
        _ = Tally().median_db
