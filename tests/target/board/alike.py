"""One scene on the emulated board and on the unix port: the same firmware, and the same samples.

A board is powered up once for each class of sensors, with the release's own main.py and nothing added. The emulator
does the same at every power-up, so each reading is taken by a copy of the process as it stands then: a fresh boot each.
"""

from __future__ import annotations

import os
import pickle
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from curbtick.install import image as firmware_image
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick_wire import records

from tests.target.board import image
from tests.target.board.cases import Case
from tests.target.board.day import PRELOADED, PRESS_S, UF2, Day, install_folder, preloaded
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.listening import CountedEar
from tests.target.board.logs import records_in

OF_THE_SCENE = (records.READING, records.SOUNDS, records.SNIPPET, records.BUMPER)
# Fields that tell of the board and not of the scene.
OF_THE_BOARD = ("ticks_ms", "time_to_verdict_ms", "temperature_ddeg", "battery_mv")
# MicroPython's C stack on the RP2040: 8 kB below the end of RAM (ports/rp2/memmap_mp_rp2040.ld).
STACK_BOTTOM = 0x20042000 - 8192
RING_BLOCKS = 8
VERDICT_S = 5.0
_LOOK_NS = 1e5
_STORED_S = 1.5
_QUIET_S = 0.3
# While it beeps, the probe does not look at its buttons.
_LONGER_THAN_A_BEEP_S = 0.4


@dataclass
class Heard:
    """What one reading left: its records, and the samples that each listening took; the rest by the emulated board.

    verdict_ms: from the release of READ to the bar's first change; waiting: most blocks complete when the program began
    to read one; lost: conversions, and blocks of the ring; stack_free: least bytes of C stack free while it listened;
    flash_ms: spent on erases and programs, misses: of flash's cache, both from the release to the verdict.
    """

    records: list[dict[str, Any]]
    listenings: list[int]
    verdict_ms: float = 0.0
    waiting: int = 0
    lost: int = 0
    stack_free: int = 0
    flash_ms: float = 0.0
    misses: int = 0

    def told(self) -> list[dict[str, Any]]:
        """The records of the scene, without what tells of the board."""
        return [_without_board(record) for record in self.records if record["kind"] in OF_THE_SCENE]

    def reading(self) -> dict[str, Any]:
        """The values of the last reading."""
        values: dict[str, Any] = [r for r in self.records if r["kind"] == records.READING][-1]["values"]
        return values


def _without_board(record: dict[str, Any]) -> dict[str, Any]:
    values = {name: value for name, value in record["values"].items() if name not in OF_THE_BOARD}
    return {**{name: value for name, value in record.items() if name not in OF_THE_BOARD}, "values": values}


def differences(here: Heard, there: Heard) -> list[str]:
    """What differs between two boards, in words."""
    found = []
    if len(here.listenings) != len(there.listenings):
        found = [f"{len(here.listenings)} listenings and {len(there.listenings)}"]
    mine, other = here.told(), there.told()
    if len(mine) != len(other):
        return [*found, f"{len(mine)} records and {len(other)}"]
    for one, another in zip(mine, other, strict=True):
        found += [
            f"kind {one['kind']} {name}" for name in one if one[name] != another[name] and name != "values"
        ]
        values = one["values"]
        found += [
            f"{name}: {values[name]} and {another['values'].get(name)}"
            for name in values
            if values[name] != another["values"].get(name)
        ]
    return found


class PatientProbe(VirtualProbe):
    """A virtual probe on a machine that has much else to do."""

    def run_until_idle(self, timeout_s: float = 600.0) -> None:
        """As the virtual probe does, but wait longer."""
        super().run_until_idle(timeout_s)


def on_unix_port(folder: Path, flash: Path, case: Case) -> Heard:
    """A fresh boot and one reading on the virtual board."""
    twin = folder / "twin"
    shutil.copy(flash, twin)
    ear = CountedEar(case.make)
    with PatientProbe(Ear(seed=1), twin) as probe:
        probe.run_until_idle()
        Technician(probe).read(ear, tries=0)
    return Heard(records_in(twin, PRELOADED + 1), ear.listenings)


@dataclass
class BootedBoard:
    """The emulated board after its power-up, with a round of one vehicle of a class."""

    folder: Path
    class_khz: int
    flash: Path = field(init=False)
    day: Day = field(init=False)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True)
        self.flash = preloaded(self.folder, self.class_khz)
        files = install_folder(self.folder / "files", firmware_image.chooser())
        (files / "fw/active").write_text("a")
        self.day = Day(EmulatedBoard(Path(UF2), image.make(self.folder / "image", files, self.flash)))
        self.day.start()

    def read(self, case: Case) -> Heard:
        """One reading, by a copy of this process; raises RuntimeError with what went wrong in it."""
        out = self.folder / "heard"
        child = os.fork()
        if not child:
            _leave_with(out, lambda: Hand(self.day, self.folder).read(case))
        os.waitpid(child, 0)
        kind, what = pickle.loads(out.read_bytes())
        out.unlink()
        if kind == "failed":
            raise RuntimeError(f"{case.name}: {what}")
        heard: Heard = what
        return heard


def _leave_with(out: Path, work: Any) -> None:
    """Write what work returns, or its failure, and end the process at once."""
    try:
        told = ("heard", work())
    except BaseException as error:  # noqa: BLE001 - told by the parent
        told = ("failed", repr(error))
    out.write_bytes(pickle.dumps(told))
    os._exit(0)


class Hand:
    """Takes readings on an emulated board, and notes what they took."""

    def __init__(self, day: Day, folder: Path) -> None:
        assert day.board.engine and day.board.flash, "this needs the C core, so a C compiler"
        self._day, self._folder = day, folder
        self._board, self._flash = day.board, day.board.flash
        self._engine, self._core = day.board.engine, day.board.engine.fast

    def read(self, case: Case, first_seq: int = PRELOADED + 1) -> Heard:
        """Press READ, wait for the verdict, and cut it short by STEP, so that all is stored at once."""
        ear = CountedEar(case.make)
        heard = self._until_verdict(ear)
        self._press("step", _LONGER_THAN_A_BEEP_S)
        self._until_stored()
        heard.records = self.records(first_seq)
        return heard

    def records(self, first_seq: int) -> list[dict[str, Any]]:
        """The log's records from a number on."""
        path = self._folder / "read_back"
        path.write_bytes(self._board.filesystem)
        return records_in(path, first_seq, "/probe")

    def _press(self, name: str, seconds: float = PRESS_S) -> None:
        self._board.press(name, down=True)
        self._board.run(seconds)
        self._board.press(name, down=False)

    def _until_verdict(self, ear: CountedEar) -> Heard:
        board, core, flash = self._board, self._core, self._flash
        self._day.yard.ear = ear
        self._press("read")
        core.watch_anew()
        lit, released_s, lost = board.lit, board.seconds, board.lost
        misses, flash_ms = core.state.misses, flash.spent_ms
        while board.lit == lit:
            if board.seconds - released_s > VERDICT_S:
                raise TimeoutError(f"no verdict; over USB came {bytes(board.received)!r}")
            self._engine.run(_LOOK_NS)
        waiting = int(core.state.waiting_most)
        return Heard(
            records=[],
            listenings=list(ear.listenings),
            verdict_ms=1000 * (board.seconds - released_s),
            waiting=waiting,
            lost=board.lost - lost + max(0, waiting - RING_BLOCKS + 1),
            stack_free=core.state.stack_least - STACK_BOTTOM,
            flash_ms=flash.spent_ms - flash_ms,
            misses=core.state.misses - misses,
        )

    def _until_stored(self) -> None:
        """Wait until flash has been written and then left alone for a while."""
        board, flash = self._board, self._flash
        written_ms, quiet_from_s = flash.spent_ms, board.seconds + _STORED_S
        while board.seconds < quiet_from_s:
            board.run(0.02)
            if flash.spent_ms != written_ms:
                written_ms, quiet_from_s = flash.spent_ms, board.seconds + _QUIET_S
