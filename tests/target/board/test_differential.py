"""The installed firmware on the emulated board against the same firmware on the unix port: one scene, one reading each.

Nothing is added to what a technician's probe runs: main.py is the release's own, no heap is locked, nothing is noted.
Both hear the same samples; what they log must be the same but for clocks, temperature and supply.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from curbtick.install import image as firmware_image
from curbtick.link import client
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear import faults
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import scenes
from curbtick_wire import records

from tests.target.board import image
from tests.target.board.clock import BoardClock, board_clock
from tests.target.board.day import (
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
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.listening import CountedEar

__all__ = ["board_clock"]

pytestmark = [needs_image, needs_speed]

# Fields of a reading that tell of the board and not of the scene.
OF_THE_BOARD = ("ticks", "time_to_verdict", "temperature", "battery", "supply")

SCENES: dict[str, Callable[[], Ear]] = {
    "healthy": lambda: scenes.single(seed=11),
    "weak": lambda: scenes.single(seed=12, fault=faults.weak(15.0)),
    "dead": lambda: scenes.single(seed=13, fault=faults.DEAD),
    "slow": lambda: scenes.single(seed=15, interval_ms=400.0),
    "yard 0": lambda: scenes.random_scene(0).ear,
    "yard 3": lambda: scenes.random_scene(3).ear,
}


def reading_of(found: list[Any]) -> dict[str, Any]:
    """The one reading of round 7."""
    (reading,) = [r for r in found if r.kind == records.READING and r.values["round_id"] == 7]
    return {name: value for name, value in reading.values.items() if not name.startswith(OF_THE_BOARD)}


def on_unix_port(flash: Path, ear: CountedEar) -> dict[str, Any]:
    """What the virtual board logs."""
    with VirtualProbe(Ear(seed=1), flash) as probe:
        probe.run_until_idle()
        Technician(probe).read(ear, tries=0)
        with client.connect(probe.pty_path) as link:
            return reading_of(list(link.records(PRELOADED + 1)))


def on_emulated_board(
    tmp_path: Path, flash: Path, ear: CountedEar, clock: BoardClock
) -> tuple[Day, dict[str, Any]]:
    """What the installed firmware logs."""
    folder = install_folder(tmp_path / "files", firmware_image.chooser())
    (folder / "fw/active").write_text("a")
    day = Day(EmulatedBoard(Path(UF2), image.make(tmp_path / "image", folder, flash)))
    clock.follow(day.board.chip.clock)
    day.start()
    day.read(ear)
    return day, reading_of(pull(day))


@pytest.mark.parametrize("name", SCENES)
def test_a_scene_is_heard_alike(name: str, tmp_path: Path, board_clock: BoardClock) -> None:
    flash = preloaded(tmp_path)
    twin = tmp_path / "twin"
    twin.write_bytes(flash.read_bytes())
    here, there = CountedEar(SCENES[name]), CountedEar(SCENES[name])
    expected = on_unix_port(twin, there)
    day, found = on_emulated_board(tmp_path, flash, here, board_clock)
    tell(
        f"alike {name}",
        day,
        {"found": found, "expected": expected, "listenings": [here.listenings, there.listenings]},
    )
    assert found == expected
    assert day.board.lost == 0
