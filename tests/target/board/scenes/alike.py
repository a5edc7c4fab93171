"""One scene on the emulated board and on the unix port: the same firmware, and the same samples.

A board is powered up once for each class of sensors, with the release's own main.py and nothing added. The emulator
does the same at every power-up, so each reading is taken by a copy of the process as it stands then: a fresh boot each.
"""

from __future__ import annotations

import os
import pickle
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from curbtick.install import image as firmware_image
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.bus import STEP
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear

from tests.target.board import image
from tests.target.board.emulator import EmulatedBoard
from tests.target.board.scenes.cases import Case
from tests.target.board.scenes.day import PRELOADED, UF2, Day, install_folder, preloaded
from tests.target.board.scenes.hand import LONGER_THAN_A_BEEP_S, Hand
from tests.target.board.scenes.heard import Heard
from tests.target.board.scenes.listening import CountedEar
from tests.target.board.scenes.logs import records_in


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


def day_on_unix_port(folder: Path, flash: Path, cases: list[Case]) -> Heard:
    """One boot and a reading of each case, one after the other, each followed by STEP."""
    twin = folder / "twin"
    shutil.copy(flash, twin)
    listenings: list[int] = []
    with PatientProbe(Ear(seed=1), twin) as probe:
        probe.run_until_idle()
        hand = Technician(probe)
        for case in cases:
            ear = CountedEar(case.make)
            hand.read(ear, tries=0)
            hand.press(STEP, round(1000 * LONGER_THAN_A_BEEP_S))
            listenings += ear.listenings
    return Heard(records_in(twin, PRELOADED + 1), listenings)


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
        (heard,) = self._in_a_copy(lambda hand: [hand.read(case)])
        return heard

    def read_day(self, cases: list[Case]) -> list[Heard]:
        """A reading of each case, one after the other; the last one's records are the whole day's. Raises as read()."""
        return self._in_a_copy(lambda hand: [hand.read(case) for case in cases])

    def _in_a_copy(self, work: Callable[[Hand], list[Heard]]) -> list[Heard]:
        out = self.folder / "heard"
        child = os.fork()
        if not child:
            _leave_with(out, lambda: work(Hand(self.day, self.folder)))
        os.waitpid(child, 0)
        kind, what = pickle.loads(out.read_bytes())
        out.unlink()
        if kind == "failed":
            raise RuntimeError(what)
        heard: list[Heard] = what
        return heard


def _leave_with(out: Path, work: Any) -> None:
    """Write what work returns, or its failure, and end the process at once."""
    try:
        told = ("heard", work())
    except BaseException as error:  # noqa: BLE001 - told by the parent
        told = ("failed", repr(error))
    out.write_bytes(pickle.dumps(told))
    os._exit(0)
