"""The firmware on a whole emulated RP2040 under real MicroPython: needs CURBTICK_UF2, and minutes.

CURBTICK_UF2 names a MicroPython image for the 40-pad RP2040 board (RPI_PICO, 1.28 or newer): download its .uf2 file
from micropython.org. Numbers of a recorded run stand in hardware_notes/emulated.md.
"""

import contextlib
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick import asking, client, firmware_image
from curbtick.virtual import bar, faults, scenes
from curbtick.virtual.ear import Ear
from curbtick.virtual.process import VirtualProbe, run_script
from curbtick.virtual.technician import Technician
from curbtick_wire import names, records

from tests.target import board_contract, board_image
from tests.target.board_emulator import EmulatedBoard
from tests.target.board_yard import BarWatch, YardAdc, over_usb

UF2 = os.environ.get("CURBTICK_UF2", "")
pytestmark = pytest.mark.skipif(
    not UF2,
    reason="CURBTICK_UF2 is not set: name MicroPython's RPI_PICO .uf2 file (micropython.org/download/RPI_PICO) in it "
    "to run the whole firmware on an emulated RP2040",
)

HERE = Path(__file__).parent
PRELOADED = 100
HEAP_LEAST = 40_000
PRESS_S = 0.09
REST_S = 0.5
QUIET_S = 0.3

# A probe's flash before the test: a round with one bumper of four sensors, and readings of days before.
PRELOAD = """
from curbtick_probe import reading
from curbtick_probe.board.virtual import Board
from curbtick_probe.clock import Clock
from curbtick_probe.log import Log
from curbtick_probe.rounds import Rounds
from curbtick_wire import codec, records

board = Board()
clock = Clock(board.root, board)
log = Log(board.root, clock.boot, clock.ticks_ms)
for n in range({count}):
    values = reading.empty_values(48)
    values["level_cdb"] = -800 - n
    values["frequency_hz"] = 48000 + n
    log.append(records.READING, values)
vehicle = {{"vehicle": 1, "rear_positions": 4, "rear_class_khz": 48, "front_positions": 0, "front_class_khz": 0}}
Rounds(board.root).put(codec.pack_round({{"round_id": 7, "vehicles": [vehicle]}}))
"""


def ears() -> list[Ear]:
    """A bumper of four: healthy, weak by 15 dB, dead, healthy."""
    kinds = (faults.HEALTHY, faults.weak(15.0), faults.DEAD, faults.HEALTHY)
    return [scenes.single(seed=11 + place, fault=fault) for place, fault in enumerate(kinds)]


def install_folder(folder: Path, main: bytes) -> Path:
    """A board's files: the compiled firmware in slot a, and a main.py."""
    for path, data in firmware_image.build().files.items():
        target = folder / "fw/a" / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    (folder / "main.py").write_bytes(main)
    return folder


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


class Day:
    """The emulated probe, its yard and its technician."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.yard = YardAdc(board, Ear(seed=1))
        board.adc = self.yard
        self.watch = BarWatch(board)

    def wait_rest(self, mask: int, seconds: float) -> None:
        """Run until the bar has rested on a mask."""
        done = self.board.run_until(lambda: self.watch.rests_on(mask, REST_S), seconds)
        assert done, (self.watch.changes[-5:], bytes(self.board.received[-500:]))

    def start(self) -> None:
        """Power up; through the self-test to the first position."""
        self.wait_rest(1, 10.0)
        before = -1
        while self.board.conversions != before:
            before = self.board.conversions
            self.board.run(QUIET_S)

    def read(self, ear: Ear) -> list[str]:
        """Hold the probe to an ear, press READ, and return the patterns until the bar rests again."""
        self.yard.ear = ear
        first = len(self.watch.changes) - 1
        self.board.press("read", down=True)
        self.board.run(PRESS_S)
        self.board.press("read", down=False)
        self.board.run_until(lambda: self._spoken(first), 12.0)
        end_us = round(self.board.seconds * 1e6)
        return bar.read_bar(bar.shown(self.watch.changes[first:], end_us))

    def _spoken(self, first: int) -> bool:
        self.watch.look()
        # The serial is silent unless the program ended with a traceback.
        assert not self.board.received, bytes(self.board.received).decode(errors="replace")
        since_s = self.board.seconds - self.watch.changes[-1].time_us / 1e6
        return len(self.watch.changes) > first + 1 and since_s > 1.0


@pytest.fixture
def patient(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The bench's deadlines, for a probe that runs fifty times slower than real."""
    slow = asking.Patience(first_wait_s=60.0, tries=4)
    monkeypatch.setattr(asking, "PATIENT", slow)
    monkeypatch.setattr(client, "_GREETING_PATIENCE", slow)
    monkeypatch.setattr(asking.ask, "__defaults__", (slow,))
    monkeypatch.setattr("curbtick.download._IDLE_S", 60.0)
    monkeypatch.setattr("curbtick.download._IDLE_MAX_S", 120.0)
    yield


def test_contract_on_the_emulated_chip(tmp_path: Path) -> None:
    main = (
        b"import gc, sys\ngc.threshold(16384)\nsys.path.insert(0, '/fw/a')\n"
        b"from curbtick_probe.board.rp2 import Board\nboard = Board()\nimport board_contract\n"
        b"board.serial.write(repr(board_contract.failures(board)) + '\\nDONE\\n')\n"
    )
    folder = install_folder(tmp_path / "files", main)
    shutil.copy(board_contract.__file__, folder / "board_contract.py")
    board = EmulatedBoard(Path(UF2), board_image.make(tmp_path / "image", folder))

    def ramp() -> Iterator[int]:
        value = 0
        while True:
            value = (value + 1) & 4095
            yield value

    sample = ramp()
    yard = YardAdc(board, Ear(seed=1))
    board.adc = lambda channel: yard(channel) if channel > 2 else next(sample)
    board.run_until(lambda: b"DONE" in board.received, 6.0)
    assert bytes(board.received).split(b"\r\n")[0] in (b"[]\nDONE\n", b"[]"), bytes(board.received)
    assert board.lost == 0


def test_a_bumper_of_four_and_the_log_pulled(tmp_path: Path, patient: None) -> None:
    flash = tmp_path / "flash"
    script = tmp_path / "preload.py"
    script.write_text(PRELOAD.format(count=PRELOADED))
    run_script(script, flash_path=flash)
    shutil.copy(flash, tmp_path / "twin")
    expected = on_virtual_board(tmp_path / "twin")
    assert [verdict for verdict, _ in expected] == ["pass", "weak", "dead", "pass"]

    folder = install_folder(tmp_path / "files", (HERE / "board_main.py").read_bytes())
    day = Day(EmulatedBoard(Path(UF2), board_image.make(tmp_path / "image", folder, flash)))
    day.start()
    seen = [day.read(ear) for ear in ears()]
    assert [next(word for word in words if word in names.VERDICTS) for words in seen] == [
        v for v, _ in expected
    ]
    assert day.board.lost == 0

    day.board.plug_usb(True)
    pulled: list[Any] = []

    def pull(path: str) -> None:
        with client.connect(path) as link:
            pulled.extend(link.records(1))

    over_usb(day.board, pull, 60.0)
    assert verdicts_of(pulled) == expected
    old = [r.values["level_cdb"] for r in pulled if r.kind == records.READING and r.values["round_id"] == 0]
    assert old == [-800 - n for n in range(PRELOADED)]
    tests = [r.values for r in pulled if r.kind == records.SELF_TEST]
    assert tests and tests[-1]["failed"] == 0, tests

    board_image.unpack(day.board.filesystem, tmp_path / "after", tmp_path / "out")
    heap_least = int((tmp_path / "out/heap").read_text())
    readings = [r.values for r in pulled if r.kind == records.READING and r.values["round_id"] == 7]
    figures = {
        "simulated_s": round(day.board.seconds, 1),
        "conversions": day.board.conversions,
        "conversions_lost": day.board.lost,
        "heap_least": heap_least,
        "time_to_verdict_ms": [values["time_to_verdict_ms"] for values in readings],
        "listened_ms": [values["listened_ms"] for values in readings],
        "self_test": tests[-1],
    }
    with contextlib.suppress(KeyError):
        Path(os.environ["CURBTICK_EMULATED_OUT"]).write_text(json.dumps(figures))
    assert heap_least >= HEAP_LEAST
