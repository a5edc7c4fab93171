"""The page and the picture of the panel are made from the probe's tables, and are not stale."""

import pytest
from curbtick.virtual.panel import page, pictures
from curbtick_probe.panel import gestures, patterns

from tests.paths import NOTES

AGAIN = "run: python -m curbtick.virtual.panel.page hardware_notes"


@pytest.mark.parametrize(("name", "made"), [(page.PAGE, page.page), (page.PICTURE, pictures.draw)])
def test_the_committed_files_are_what_the_tables_give(name: str, made: object) -> None:
    assert callable(made)
    assert (NOTES / name).read_text(encoding="utf-8") == made(), AGAIN


def test_every_action_and_status_has_its_words() -> None:
    for (check, _), action in gestures.GESTURE_TABLE.items():
        assert page.action_words(check, action)
    assert set(page.POWER_UP) == set(gestures.POWER_UP_TABLE.values())
    assert set(page.METER) == set(patterns.METER_PATTERNS)


def test_no_words_are_left_over_for_actions_that_are_gone() -> None:
    known = set(gestures.GESTURE_TABLE.values())
    assert set(page.ACTIONS) | {action for _, action in page.CHECK_ACTIONS} == known
