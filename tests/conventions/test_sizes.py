"""Small functions, small files: the bounds. `python -m tests.conventions.sizes` prints where they stand."""

from pathlib import Path

import pytest

from tests.conventions.sizes import ROOMS, line_count, measured, percentile
from tests.conventions.sources import python_files, shown

FILE_LINES_MAX = 400
LONG_FUNCTION = 60


@pytest.mark.parametrize("folder", ROOMS.values(), ids=ROOMS.keys())
def test_nine_functions_in_ten_are_below_35_lines(folder: Path) -> None:
    assert percentile(measured(folder), 0.9) < 35


def test_about_one_function_in_a_hundred_is_longer_than_60_lines() -> None:
    found = [f for folder in ROOMS.values() for f in measured(folder)]
    longer = [f for f in found if f.code_lines > LONG_FUNCTION]
    assert len(longer) <= 0.015 * len(found), [str(f) for f in longer]


@pytest.mark.parametrize("folder", ROOMS.values(), ids=ROOMS.keys())
def test_no_file_is_longer_than_400_lines(folder: Path) -> None:
    assert not [shown(path) for path in python_files(folder) if line_count(path) > FILE_LINES_MAX]
