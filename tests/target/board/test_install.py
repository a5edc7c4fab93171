"""`curbtick install` against the emulated board: onto plain MicroPython, over a running probe, and back."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from curbtick.commands import main
from curbtick.install import image as firmware_image
from curbtick_wire import records
from typer.testing import CliRunner, Result

from tests.target.board import image
from tests.target.board.clock import BoardClock, board_clock
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.scenes.day import (
    PRELOADED,
    UF2,
    Day,
    install_folder,
    needs_image,
    needs_speed,
    preloaded,
    pull,
    tell,
)
from tests.target.board.scenes.yard import over_usb

__all__ = ["board_clock"]

pytestmark = [needs_image, needs_speed]

# How long `curbtick install` tries by itself, and how long the buttons are held then, in simulated seconds.
TRIED_S = 2.0
BUTTONS_HELD_S = 2.0


def run_install(
    board: EmulatedBoard, *words: str, meanwhile: Callable[[], None] = lambda: None
) -> dict[str, Any]:
    """What `curbtick install` says, on this board; it must succeed."""
    results: list[Result] = []

    def work(path: str) -> None:
        results.append(CliRunner().invoke(main.app, ["install", *words, "--json", "--port", path]))

    over_usb(board, work, 300.0, meanwhile)
    (result,) = results
    assert result.exit_code == 0, (result.output, result.exception)
    told: dict[str, Any] = json.loads(result.stdout)
    assert told["self_test_failed"] == [] and told["files"] == len(firmware_image.build().files)
    return {**told, "port": ""}


class BothButtons:
    """Somebody who, after a while, plugs the board in anew with both buttons held, for two seconds."""

    def __init__(self, board: EmulatedBoard, after_s: float) -> None:
        self._board = board
        self._at_s = board.seconds + after_s
        self._held = self._done = False

    def __call__(self) -> None:
        if self._done or self._board.seconds < self._at_s:
            return
        for name in ("read", "step"):
            self._board.press(name, down=not self._held)
        self._done, self._held = self._held, True
        if not self._done:
            self._at_s += BUTTONS_HELD_S
            self._board.power_cycle()


def kept(day: Day) -> list[int]:
    """The levels of the log's readings that no test took."""
    return [r.values["level_cdb"] for r in pull(day) if r.kind == records.READING]


def test_install_on_a_board_at_the_prompt(tmp_path: Path, board_clock: BoardClock) -> None:
    """MicroPython as it comes, with a probe's readings on it: one command makes a probe of it that kept them."""
    (tmp_path / "files").mkdir()
    board = EmulatedBoard(Path(UF2), image.make(tmp_path / "image", tmp_path / "files", preloaded(tmp_path)))
    board_clock.follow(board.chip.clock)
    day = Day(board)
    board.plug_usb(True)
    board.run_until(lambda: b">>> " in board.received, 4.0)
    board.received.clear()
    told = run_install(board)
    levels = kept(day)
    tell("install", day, {"told": told, "readings_kept": len(levels)})
    assert told["slot"] == "a" and told["before"] is None
    assert levels == [-800 - n for n in range(PRELOADED)]


def test_an_update_over_a_running_probe_and_back(tmp_path: Path, board_clock: BoardClock) -> None:
    """The probe's program runs; both buttons lead to the prompt; the update goes beside it, and back again."""
    build = firmware_image.build()
    folder = install_folder(tmp_path / "files", firmware_image.chooser())
    (folder / "fw/active").write_text("a")
    manifest = {"version": build.digest, "files": build.hashes()}
    (folder / "fw/a/manifest.json").write_text(json.dumps(manifest))
    board = EmulatedBoard(Path(UF2), image.make(tmp_path / "image", folder, preloaded(tmp_path)))
    board_clock.follow(board.chip.clock)
    day = Day(board)
    day.start()
    board.plug_usb(True)
    updated = run_install(board, meanwhile=BothButtons(board, TRIED_S))
    back = run_install(board, "--back", meanwhile=BothButtons(board, TRIED_S))
    levels = kept(day)
    tell("update", day, {"updated": updated, "back": back, "readings_kept": len(levels)})
    assert (updated["slot"], updated["before"]) == ("b", build.digest)
    assert (back["slot"], back["version"]) == ("a", build.digest)
    assert levels == [-800 - n for n in range(PRELOADED)]
