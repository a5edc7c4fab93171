"""The firmware on a whole emulated RP2040 under real MicroPython: the board's contract, a bumper, memory."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from curbtick.link import client
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick_wire import names, records

from tests.target.board import image
from tests.target.board.clock import BoardClock, board_clock
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.programs import contract
from tests.target.board.scenes.day import (
    PRELOADED,
    UF2,
    Day,
    ears,
    install_folder,
    needs_image,
    power_up,
    preloaded,
    pull,
    tell,
)
from tests.target.board.scenes.yard import YardAdc

__all__ = ["board_clock"]

pytestmark = needs_image

HEAP_LEAST = 40_000
# The middle of the bar: a seal or hiss check that waits for its reference or background.
CHECK_WAITS = 0x0F0


def verdicts_of(found: list[Any]) -> list[tuple[str, list[str]]]:
    """(verdict, reasons) of the readings of round 7, in order."""
    return [
        (names.VERDICTS[r.values["verdict"]], names.words_of(names.REASONS, r.values["reasons"]))
        for r in found
        if r.kind == records.READING and r.values["round_id"] == 7
    ]


def on_virtual_board(flash: Path) -> list[tuple[str, list[str]]]:
    """The verdicts of the same bumper on the virtual board."""
    with VirtualProbe(Ear(seed=1), flash) as probe:
        probe.run_until_idle()
        technician = Technician(probe)
        for ear in ears():
            technician.read(ear, tries=0)
        with client.connect(probe.pty_path) as link:
            return verdicts_of(list(link.records(PRELOADED + 1)))


def test_contract_on_the_emulated_chip(tmp_path: Path) -> None:
    main = (
        b"import gc, sys\ngc.threshold(16384)\nsys.path.insert(0, '/fw/a')\n"
        b"from curbtick_probe.board.rp2.board import Board\nboard = Board()\nimport contract\n"
        b"board.serial.write(repr(contract.failures(board)) + '\\nDONE\\n')\n"
    )
    folder = install_folder(tmp_path / "files", main)
    shutil.copy(contract.__file__, folder / "contract.py")
    board = EmulatedBoard(Path(UF2), image.make(tmp_path / "image", folder))

    def ramp() -> Iterator[int]:
        value = 0
        while True:
            value = (value + 1) & 4095
            yield value

    sample = ramp()
    yard = YardAdc(board, Ear(seed=1))
    board.adc = lambda channel, begin_s: yard(channel, begin_s) if channel > 2 else next(sample)
    board.run_until(lambda: b"DONE" in board.received, 6.0)
    assert bytes(board.received).splitlines()[0] == b"[]", bytes(board.received)
    assert board.lost == 0


def heap_notes(day: Day, tmp_path: Path) -> dict[str, int]:
    """The least free heap of each occasion, as main.py noted it."""
    image.unpack(day.board.filesystem, tmp_path / "after", tmp_path / "out")
    found: dict[str, int] = json.loads((tmp_path / "out/heap").read_text())
    return found


def test_a_bumper_of_four_gets_the_virtual_board_s_verdicts(tmp_path: Path) -> None:
    flash = preloaded(tmp_path)
    shutil.copy(flash, tmp_path / "twin")
    expected = on_virtual_board(tmp_path / "twin")
    assert [verdict for verdict, _ in expected] == ["pass", "weak", "dead", "pass"]

    day = power_up(tmp_path, flash)
    seen = [day.read(ear) for ear in ears()]
    heap = heap_notes(day, tmp_path)
    tell("bumper", day, {"heap_free": heap, "seen": seen})
    assert [next(word for word in words if word in names.VERDICTS) for words in seen] == [
        v for v, _ in expected
    ]
    assert day.board.lost == 0
    assert min(heap.values()) >= HEAP_LEAST


def test_memory_at_its_worst_and_the_log_pulled(tmp_path: Path, board_clock: BoardClock) -> None:
    """Everything that the probe can load is loaded, then a reading is taken and the log is pulled, in one go."""
    day = power_up(tmp_path, preloaded(tmp_path))
    board_clock.follow(day.board.chip.clock)
    for resting in (CHECK_WAITS, CHECK_WAITS, 1):
        day.next_check(resting)
    words = day.read(ears()[0])
    assert "pass" in words
    pulled = pull(day)
    heap = heap_notes(day, tmp_path)
    old = [r.values for r in pulled if r.kind == records.READING and r.values["round_id"] == 0]
    new = [r.values for r in pulled if r.kind == records.READING and r.values["round_id"] == 7]
    tests = [r.values for r in pulled if r.kind == records.SELF_TEST]
    tell("memory", day, {"heap_free": heap, "pulled": len(pulled), "readings": new, "self_test": tests[-1]})
    assert [values["level_cdb"] for values in old] == [-800 - n for n in range(PRELOADED)]
    assert [values["verdict"] for values in new] == [names.PASS]
    assert tests[-1]["failed"] == 0
    assert day.board.lost == 0
    assert {"reading", "seal", "hiss", "pull"} <= heap.keys()
    assert min(heap.values()) >= HEAP_LEAST
