"""A fact has one definition: no number of more than two digits stands twice."""

from pathlib import Path

import pytest

from tests.conventions.facts import constants
from tests.conventions.facts.constants import Binding
from tests.conventions.sources import shown
from tests.paths import HOST, PROBE, ROOT

FOUND = constants.all_bindings()


def test_no_name_is_bound_to_one_number_in_two_files() -> None:
    assert not [[str(one) for one in group] for group in constants.same_names(FOUND)]


def test_no_number_is_repeated_under_another_name_or_bare() -> None:
    assert not constants.bare_copies(FOUND)


def test_no_number_of_four_digits_stands_bare_in_two_files() -> None:
    assert not constants.bare_twice()


def test_what_a_kernel_repeats_equals_its_definition() -> None:
    assert not constants.unequal_mirrors(FOUND)
    assert [one for one in FOUND if constants.is_mirror(one, FOUND)]


def test_a_copy_is_seen() -> None:
    copy = Binding(HOST / "somewhere.py", 1, "RATE_HZ", 250_000.0)
    assert [group for group in constants.same_names([*FOUND, copy]) if copy in group]


def test_a_kernel_s_constant_that_drifts_is_seen() -> None:
    drifted = Binding(PROBE / "dsp" / "somewhere.py", 1, "_RATE_HZ", 250_001.0)
    assert [pair for pair in constants.unequal_mirrors([*FOUND, drifted]) if drifted in pair]


@pytest.mark.parametrize("name", sorted({name for name, _ in constants.COINCIDENCES}))
def test_a_coincidence_names_a_number_that_is_there(name: str) -> None:
    path = ROOT / Path(name)
    numbers = {number for file, number in constants.COINCIDENCES if file == name}
    assert numbers <= constants.numbers_in(path), shown(path)
