"""The page and the picture of the panel are made from the probe's tables, and are not stale."""

from pathlib import Path

import pytest
from curbtick.virtual import panel_page, pictures
from curbtick_probe import gestures, patterns

NOTES = Path(__file__).resolve().parents[2] / "hardware_notes"
AGAIN = "run: python -m curbtick.virtual.panel_page hardware_notes"


@pytest.mark.parametrize(
    ("name", "made"), [(panel_page.PAGE, panel_page.page), (panel_page.PICTURE, pictures.draw)]
)
def test_the_committed_files_are_what_the_tables_give(name: str, made: object) -> None:
    assert callable(made)
    assert (NOTES / name).read_text(encoding="utf-8") == made(), AGAIN


def test_every_action_and_status_has_its_words() -> None:
    for (check, _), action in gestures.GESTURE_TABLE.items():
        assert panel_page.action_words(check, action)
    assert set(panel_page.POWER_UP) == set(gestures.POWER_UP_TABLE.values())
    assert set(panel_page.METER) == set(patterns.METER_PATTERNS)


def test_no_words_are_left_over_for_actions_that_are_gone() -> None:
    known = set(gestures.GESTURE_TABLE.values())
    assert set(panel_page.ACTIONS) | {action for _, action in panel_page.CHECK_ACTIONS} == known
