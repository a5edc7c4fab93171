"""The firmware on a whole emulated RP2040 under real MicroPython: needs CURBTICK_UF2, and minutes.

CURBTICK_UF2 names a MicroPython image for the 40-pad RP2040 board (RPI_PICO, 1.28 or newer): download its .uf2 file
from micropython.org. Numbers of a recorded run stand in hardware_notes/emulated.md.
"""

import contextlib
import json
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick import cli, client, firmware_image
from curbtick.virtual import bar, faults, scenes
from curbtick.virtual.ear import Ear
from curbtick.virtual.process import VirtualProbe, run_script
from curbtick.virtual.technician import Technician
from curbtick_wire import names, records
from typer.testing import CliRunner, Result

from tests.target.board import contract, image
from tests.target.board.clock import BoardClock, board_clock
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.yard import BarWatch, YardAdc, over_usb

__all__ = ["board_clock"]

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
LATE_MS = 20
LONG_S = 0.8
# How long `curbtick install` tries by itself, and how long the buttons are held then, in simulated seconds.
TRIED_S = 2.0
BUTTONS_HELD_S = 2.0
# The middle of the bar: a seal or hiss check that waits for its reference or background.
CHECK_WAITS = 0x0F0

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


def meant_ms(lasted_ms: int) -> int:
    """How long a pattern means a mask to last that was lit a little longer: the chip has other things to do between."""
    patterns = [bar.pattern(name) for name in bar.probe_patterns()["PATTERNS"]]
    meant = {one.duration_ms for frames, repeats, _ in patterns for one in bar.joined(frames * repeats)}
    return max((ms for ms in meant if 0 <= lasted_ms - ms <= LATE_MS), default=lasted_ms)


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


def test_contract_on_the_emulated_chip(tmp_path: Path) -> None:
    main = (
        b"import gc, sys\ngc.threshold(16384)\nsys.path.insert(0, '/fw/a')\n"
        b"from curbtick_probe.board.rp2 import Board\nboard = Board()\nimport contract\n"
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


def preloaded(tmp_path: Path) -> Path:
    """A flash file with a round and a log of PRELOADED readings."""
    script = tmp_path / "preload.py"
    script.write_text(PRELOAD.format(count=PRELOADED))
    run_script(script, flash_path=tmp_path / "flash")
    return tmp_path / "flash"


def power_up(tmp_path: Path, flash: Path) -> Day:
    """The installed firmware on an emulated board with such a flash, through its self-test to the first position."""
    folder = install_folder(tmp_path / "files", (HERE / "main.py").read_bytes())
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


def heap_notes(day: Day, tmp_path: Path) -> dict[str, int]:
    """The least free heap of each occasion, as main.py noted it."""
    image.unpack(day.board.filesystem, tmp_path / "after", tmp_path / "out")
    found: dict[str, int] = json.loads((tmp_path / "out/heap").read_text())
    return found


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


def run_install(
    board: EmulatedBoard, *words: str, meanwhile: Callable[[], None] = lambda: None
) -> dict[str, Any]:
    """What `curbtick install` says, on this board; it must succeed."""
    results: list[Result] = []

    def work(path: str) -> None:
        results.append(CliRunner().invoke(cli.app, ["install", *words, "--json", "--port", path]))

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
