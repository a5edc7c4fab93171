"""The build page: fresh, every step with its picture, parts that exist, and every word of the self-test explained."""

import re

import pytest
from curbtick_wire import names

from hardware_notes.building import words as self_test
from hardware_notes.building.__main__ import PAGE
from hardware_notes.building.page import page
from hardware_notes.building.parts import CLASSES, MECHANICAL, cost_classes, cost_range, electrical
from hardware_notes.building.steps import STEPS, Step
from hardware_notes.case import dimensions as d

NOTES = PAGE.parent


def test_page_is_fresh() -> None:
    assert PAGE.read_text() == page(), "run python -m hardware_notes.building"


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.title)
def test_a_step_has_a_picture_of_its_own_tools_and_time(step: Step) -> None:
    assert (NOTES / step.picture).is_file()
    assert [other.picture for other in STEPS].count(step.picture) == 1
    assert step.tools and step.do and step.mistakes and 5 <= step.minutes <= 300


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.title)
def test_a_step_names_parts_that_are_in_the_lists(step: Step) -> None:
    assert set(step.parts) <= set(cost_classes())


def test_every_part_is_used_by_a_step() -> None:
    used = {part for step in STEPS for part in step.parts}
    assert electrical() | {part.name for part in MECHANICAL} | set(d.LIES) == used


def test_every_line_of_the_parts_list_has_a_cost_class() -> None:
    assert electrical() <= set(cost_classes())
    assert set(cost_classes().values()) <= set(CLASSES)
    low, high = cost_range()
    assert 0 < low < high


def test_a_mistake_shows_either_by_a_word_or_by_a_sign() -> None:
    for step in STEPS:
        for mistake in step.mistakes:
            assert bool(mistake.word) != bool(mistake.sign), mistake.what
            assert not mistake.word or mistake.word in names.SELF_TESTS, mistake.what


def test_every_word_of_the_self_test_is_explained_and_led_to_a_step() -> None:
    assert set(self_test.words()) == set(names.SELF_TESTS)
    led = {mistake.word for step in STEPS for mistake in step.mistakes if mistake.word}
    assert led == set(names.SELF_TESTS)


def test_bounds_are_the_self_test_s_own(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert f"within {self_test.bounds()['BIAS_SLACK_CODES']} codes" in self_test.words()["bias"]
    source = next((self_test.ROOT / "firmware").rglob("selftest.py"))
    changed = source.read_text().replace("BIAS_SLACK_CODES = const(100)", "BIAS_SLACK_CODES = const(77)")
    (tmp_path / "firmware").mkdir()
    (tmp_path / "firmware" / "selftest.py").write_text(changed)
    monkeypatch.setattr(self_test, "ROOT", tmp_path)
    assert "within 77 codes" in self_test.words()["bias"]


def test_a_lost_self_test_is_said_in_words(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(self_test, "ROOT", tmp_path)
    with pytest.raises(FileNotFoundError, match="build page cannot give its bounds"):
        self_test.words()


def test_cautions_stand_before_what_they_warn_of() -> None:
    for number, step in enumerate(STEPS, start=1):
        section = re.search(rf"^## {number}\. .*?(?=^## |\Z)", page(), re.MULTILINE | re.DOTALL)
        assert section
        for caution in step.cautions:
            assert section[0].index(caution) < section[0].index(step.do[0])


def test_what_can_hurt_or_destroy_has_a_caution() -> None:
    """Static, cells that are shorted or reversed, lithium, and heat: each is warned of in some step."""
    said = " ".join(caution for step in STEPS for caution in step.cautions)
    for word in ("Static", "short", "P-FET", "Lithium", "iron"):
        assert word in said
