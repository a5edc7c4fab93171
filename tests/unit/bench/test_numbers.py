"""Whole numbers as people write them: digits 0 to 9, and nothing that a database cannot keep."""

import pytest
from curbtick.dates import day_start_ms
from curbtick.errors import InputError
from curbtick.numbers import LARGEST, whole


@pytest.mark.parametrize(("text", "number"), [("0", 0), ("007", 7), ("12", 12), (str(LARGEST), LARGEST)])
def test_a_whole_number_is_read(text: str, number: int) -> None:
    assert whole(text) == number


@pytest.mark.parametrize(
    "text",
    ["", " 1", "-1", "+1", "1.0", "1_000", "1e3", "\u00b2", "\u0663", "x", str(LARGEST + 1), "9" * 5000],
)
def test_any_other_text_is_none(text: str) -> None:
    assert whole(text) is None


@pytest.mark.parametrize("day", ["0001-01-01", "1970-01-01", "9999-12-31"])
def test_a_day_outside_every_history_is_refused_in_three_lines(day: str) -> None:
    with pytest.raises(InputError, match="no day that a history can hold"):
        day_start_ms(day)
