"""An emulated probe with its yard and its technician, for tests of the installed firmware: needs CURBTICK_UF2.

CURBTICK_UF2 names a MicroPython image for the 40-pad RP2040 board (RPI_PICO, 1.28 or newer): download its .uf2 file
from micropython.org. Numbers of a recorded run stand in hardware_notes/emulated.md.
"""

import contextlib
import json
import os
from pathlib import Path
from typing import Any

import pytest
from curbtick.install import image as firmware_image
from curbtick.link import client
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.process import run_script
from curbtick.yard.ear import faults
from curbtick.yard.ear.ear import Ear
from curbtick.yard.scenes import scenes

from tests.target.board import image
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.scenes.yard import BarWatch, YardAdc, over_usb

UF2 = os.environ.get("CURBTICK_UF2", "")
needs_image = pytest.mark.skipif(
    not UF2,
    reason="CURBTICK_UF2 is not set: name MicroPython's RPI_PICO .uf2 file (micropython.org/download/RPI_PICO) in it "
    "to run the whole firmware on an emulated RP2040",
)
needs_speed = pytest.mark.usefixtures("compiler")

PROGRAMS = Path(__file__).parents[1] / "programs"
PRELOADED = 100
PRESS_S = 0.09
REST_S = 0.5
QUIET_S = 0.3
LATE_MS = 20
LONG_S = 0.8

# A probe's flash before the test: a round with one bumper of four sensors, and readings of days before.
PRELOAD = """
from curbtick_probe.board.virtual.board import Board
from curbtick_probe.bumper import reading
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.log import Log
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_wire import codec, records

board = Board()
clock = Clock(board.root, board)
log = Log(board.root, clock.boot, clock.ticks_ms)
for n in range({count}):
    values = reading.empty_values(48)
    values["level_cdb"] = -800 - n
    values["frequency_hz"] = 48000 + n
    log.append(records.READING, values)
vehicle = {{"vehicle": 1, "rear_positions": 4, "front_positions": 0, "front_class_khz": 0}}
vehicle["rear_class_khz"] = {class_khz}
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


def meant_ms(lasted_ms: int) -> int:
    """How long a pattern means a mask to last that was lit a little longer: the chip has other things to do between."""
    patterns = [bar.pattern(name) for name in bar.probe_patterns()["PATTERNS"]]
    meant = {one.duration_ms for frames, repeats, _ in patterns for one in bar.joined(frames * repeats)}
    return max((ms for ms in meant if 0 <= lasted_ms - ms <= LATE_MS), default=lasted_ms)


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
        shown = bar.shown(self.watch.changes[first:], end_us)
        return bar.read_bar([bar.Shown(one.mask, meant_ms(one.duration_ms)) for one in shown])

    def next_check(self, resting: int) -> None:
        """Hold both buttons for the next check, and run until the bar shows what it rests on there."""
        before = len(self.watch.changes)
        self.press_both(LONG_S)
        # Two checks rest on the same mask: the bar must have shown something else in between.
        assert self.board.run_until(lambda: self._changed(before), 12.0)
        self.wait_rest(resting, 12.0)

    def press_both(self, seconds: float) -> None:
        """Hold both buttons so long."""
        for down in (True, False):
            for name in ("read", "step"):
                self.board.press(name, down=down)
            self.board.run(seconds if down else PRESS_S)

    def _changed(self, before: int) -> bool:
        self.watch.look()
        return len(self.watch.changes) > before

    def _spoken(self, first: int) -> bool:
        self.watch.look()
        # The serial is silent unless the program ended with a traceback.
        assert not self.board.received, bytes(self.board.received).decode(errors="replace")
        last = self.watch.changes[-1]
        since_s = self.board.seconds - last.time_us / 1e6
        # A single LED is what the bar rests on: the next position.
        return len(self.watch.changes) > first + 1 and last.mask.bit_count() == 1 and since_s > 1.0


def preloaded(tmp_path: Path, class_khz: int = 48) -> Path:
    """A flash file with a round of such sensors and a log of PRELOADED readings."""
    script = tmp_path / "preload.py"
    script.write_text(PRELOAD.format(count=PRELOADED, class_khz=class_khz))
    run_script(script, flash_path=tmp_path / "flash")
    return tmp_path / "flash"


def power_up(tmp_path: Path, flash: Path) -> Day:
    """The installed firmware on an emulated board with such a flash, through its self-test to the first position."""
    folder = install_folder(tmp_path / "files", (PROGRAMS / "main.py").read_bytes())
    day = Day(EmulatedBoard(Path(UF2), image.make(tmp_path / "image", folder, flash)))
    day.start()
    return day


def pull(day: Day) -> list[Any]:
    """Every record of the log, by the real host over the board's USB."""
    pulled: list[Any] = []

    def work(path: str) -> None:
        with client.connect(path) as link:
            pulled.extend(link.records(1))

    day.board.plug_usb(True)
    over_usb(day.board, work, 60.0)
    return pulled


def tell(name: str, day: Day, more: dict[str, Any]) -> None:
    """Add a run's figures to the file that CURBTICK_EMULATED_OUT names."""
    figures = {
        "simulated_s": round(day.board.seconds, 1),
        "conversions": day.board.conversions,
        "conversions_lost": day.board.lost,
        **more,
    }
    with contextlib.suppress(KeyError):
        out = Path(os.environ["CURBTICK_EMULATED_OUT"])
        before = json.loads(out.read_text()) if out.exists() else {}
        out.write_text(json.dumps({**before, name: figures}, indent=1))
