"""The watchdog on the emulated chip: a hang ends in a restart that tells of it, and the prompt is left alone."""

from pathlib import Path

import pytest
from curbtick_wire import names, records

from tests.target.board import image
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.scenes.day import (
    PRELOADED,
    PRESS_S,
    PROGRAMS,
    UF2,
    Day,
    ears,
    install_folder,
    needs_image,
    needs_speed,
    preloaded,
    tell,
)
from tests.target.board.scenes.hand import Hand

pytestmark = [needs_image, needs_speed]

TIMEOUT_S = 8.0
PROMPT = b">>> "


@pytest.fixture
def day(tmp_path: Path) -> Day:
    """A board whose firmware hangs in its first reading, at its first position."""
    folder = install_folder(tmp_path / "files", (PROGRAMS / "hang.py").read_bytes())
    made = Day(EmulatedBoard(Path(UF2), image.make(tmp_path / "image", folder, preloaded(tmp_path))))
    made.start()
    return made


def hang(day: Day) -> float:
    """Press READ and wait for the restart; seconds from the release."""
    board = day.board
    board.press("read", down=True)
    board.run(PRESS_S)
    board.press("read", down=False)
    released_s = board.seconds
    assert board.run_until(lambda: board.restarts > 0, TIMEOUT_S + 1.0), "it hangs still"
    return board.seconds - released_s


def test_a_hang_restarts_and_is_told(day: Day, tmp_path: Path) -> None:
    after_s = hang(day)
    day.start()
    words = day.read(ears()[0])
    found = Hand(day, tmp_path).records(PRELOADED + 1)
    (crash,) = [record for record in found if record["kind"] == records.CRASH]
    readings = [record["values"]["verdict"] for record in found if record["kind"] == records.READING]
    tell(
        "watchdog",
        day,
        {"restart_after_s": round(after_s, 2), "told": crash["tail"].decode(), "words": words},
    )
    assert TIMEOUT_S - 0.3 < after_s <= TIMEOUT_S + 0.5
    assert names.CRASHES[crash["values"]["cause"]] == "watchdog"
    assert crash["tail"] == b"in read" and crash["values"]["crash_boot"] == crash["boot"] - 1
    assert readings == [names.PASS]
    assert day.board.restarts == 1


def test_both_buttons_lead_to_a_prompt_that_nothing_resets(day: Day) -> None:
    """Held through the watchdog's restart and through a power-up; the prompt then outlasts the time."""
    board = day.board
    hang(day)
    for name in ("read", "step"):
        board.press(name, down=True)
    for start_again in (lambda: None, board.power_cycle):
        start_again()
        board.plug_usb(True)
        board.received.clear()
        assert board.run_until(lambda: PROMPT in board.received, 5.0), bytes(board.received)
        board.run(1.2 * TIMEOUT_S)
    assert board.restarts == 1
