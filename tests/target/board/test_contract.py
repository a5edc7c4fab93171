"""The boards behave alike: one list of cases on the virtual board, rp2.py over doubles, and the emulated chip."""

import ast
import importlib
from pathlib import Path

import numpy as np
import pytest
from curbtick.virtual.probe.process import run_script
from numpy.typing import NDArray

from tests.target.board.doubles.chip import GPIO_OUT_XOR, FakeChip, chip, data_directory
from tests.target.board.doubles.fake_board import FakeBoard
from tests.target.board.programs import contract
from tests.target.board.scenes import day

__all__ = ["chip"]

BOARD = Path(__file__).resolve().parents[3] / "firmware/curbtick_probe/board"
CASES = Path(contract.__file__)
WATCHDOG_REASON, WATCHDOG_SCRATCH = 0x40058008, 0x4005800C


class RampEar:
    """Each sample one more than the last, modulo 4096, whatever the input."""

    def __init__(self) -> None:
        self._next = 0

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        samples = (np.arange(count) + self._next) % 4096
        self._next += count
        return samples.astype(np.uint16)


def test_virtual_board_keeps_the_contract(tmp_path: Path) -> None:
    script = tmp_path / "contract.py"
    script.write_text(
        CASES.read_text()
        + "\nfrom curbtick_probe.board.virtual.board import Board\n"
        + "board = Board()\nfound = failures(board)\nboard.bus.ask('\\n'.join(found).encode())\n"
    )
    told: list[bytes] = []

    def hear(payload: bytes) -> bytes:
        told.append(payload)
        return b""

    run_script(script, RampEar(), hear)
    assert told == [b""]


def test_the_fake_board_of_the_tests_keeps_the_contract() -> None:
    assert contract.failures(FakeBoard()) == []


def test_rp2_board_keeps_the_contract_over_doubles(
    chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    assert contract.failures(rp2_board.Board()) == []


def test_rp2_board_drives_the_bar_and_leaves_the_beeper_silent(
    chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    board = rp2_board.Board()
    board.bar(0b1000_0000_0101)
    assert [led for led in range(12) if chip.pins[2 + led].level] == [0, 2, 11]
    board.beep(4000, 5)
    assert chip.pins[16].level == 0


@pytest.mark.parametrize(("before", "mask"), [(0, 0xFFF), (0xFFF, 0), (0x0F0, 0xF0F), (0x555, 0x556)])
def test_rp2_board_changes_the_whole_bar_by_one_write(
    chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, before: int, mask: int
) -> None:
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    board = rp2_board.Board()
    board.bar(before)
    others = {number: pin.level for number, pin in chip.pins.items() if not 2 <= number <= 13}
    chip.writes.clear()
    board.bar(mask)
    assert chip.writes == [(GPIO_OUT_XOR, (before ^ mask) << 2)]
    assert sum(chip.pins[2 + led].level << led for led in range(12)) == mask
    assert {number: chip.pins[number].level for number in others} == others


@pytest.mark.parametrize(
    ("reason", "noted", "hung_in"),
    [(0, 5, -1), (1, 5, 5), (2, 5, -1), (1, 0x1FF, 255)],
    ids=["power", "watchdog", "reset by the program", "a word of a byte"],
)
def test_rp2_watchdog_tells_of_a_hang_alone(
    chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reason: int, noted: int, hung_in: int
) -> None:
    """REASON: bit 0 the timer, bit 1 a forced restart (RP2040 data sheet, 4.7.6); machine.reset() is the latter."""
    chip.registers |= {WATCHDOG_REASON: reason, WATCHDOG_SCRATCH: noted}
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    board = rp2_board.Board()
    assert board.hung_in == hung_in
    assert chip.registers[WATCHDOG_SCRATCH] == 0
    board.note(7)
    assert chip.registers[WATCHDOG_SCRATCH] == 7


def test_rp2_watchdog_runs_once_started_and_is_fed_by_who_looks_at_the_buttons_or_waits(
    chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    board = rp2_board.Board()
    for feed in (board.buttons, board.feed, lambda: board.wait(50)):
        feed()
    assert chip.feeds == []
    board.watch()
    for feed, least in ((board.buttons, 1), (board.feed, 1), (lambda: board.wait(50), 2)):
        chip.feeds.clear()
        feed()
        assert len(chip.feeds) >= least and set(chip.feeds) == {8000}


def test_rp2_buttons_are_debounced(chip: FakeChip, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    rp2_board = importlib.import_module("curbtick_probe.board.rp2.board")
    data_directory(monkeypatch, rp2_board, tmp_path)
    board = rp2_board.Board()
    seen = []
    for level in (0, 1, 0, 0, 0, 0, 0, 0):
        chip.pins[14].level = level
        seen.append(board.buttons())
        chip.pass_time(2000)
    assert seen == [0, 0, 0, 0, 0, 0, 1, 1]


def _shape(name: str) -> dict[str, tuple[str, ...]]:
    tree = ast.parse((BOARD / name).read_text())
    found: dict[str, tuple[str, ...]] = {}
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and node.name in ("Board", "Capture"):
            for method in node.body:
                if isinstance(method, ast.FunctionDef) and not method.name.startswith("_"):
                    found[f"{node.name}.{method.name}"] = tuple(arg.arg for arg in method.args.args)
    return found


def test_the_two_boards_have_the_same_methods_with_the_same_arguments() -> None:
    virtual = _shape("virtual/board.py")
    real = _shape("rp2/board.py") | _shape("rp2/adc_dma.py")
    assert virtual == real
    assert {"Board.beep", "Board.wait", "Capture.block"} <= virtual.keys()


@pytest.mark.parametrize("name", ["main.py", "hang.py"])
def test_the_emulated_board_finds_its_programs(name: str) -> None:
    """Where no MicroPython image is at hand its tests are skipped, and would not tell."""
    assert ast.parse((day.PROGRAMS / name).read_text(encoding="utf-8")).body
