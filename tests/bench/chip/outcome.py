"""Cases heard on the emulated board and on the unix port, and what of them differs."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import Any

from curbtick_wire import names
from curbtick_wire.classes import CUSTOM

from tests.target.board.scenes.alike import BootedBoard, day_on_unix_port, on_unix_port
from tests.target.board.scenes.cases import Case
from tests.target.board.scenes.heard import Heard, differences


@dataclass
class Outcome:
    """A case and what the emulated board made of it; wrong: what differs from the unix port."""

    case: Case
    heard: Heard
    wrong: list[str]

    def line(self) -> dict[str, Any]:
        """What is told of it."""
        reading = self.heard.reading()
        return {
            "case": self.case.name,
            "verdict": names.VERDICTS[reading["verdict"]],
            "reasons": names.words_of(names.REASONS, reading["reasons"]),
            "listened_ms": reading["listened_ms"],
            "verdict_ms": round(self.heard.verdict_ms, 1),
            "flash_ms": round(self.heard.flash_ms, 1),
            "misses": self.heard.misses,
            "waiting": self.heard.waiting,
            "stack_free": self.heard.stack_free,
            "heap_free": self.heard.heap_free,
            "wrong": self.wrong,
        }


def run(cases: list[Case], folder: Path) -> list[Outcome]:
    """Every case on both boards, class by class."""
    found: list[Outcome] = []
    for class_khz, same in groupby(
        sorted(cases, key=lambda case: case.class_khz), lambda case: case.class_khz
    ):
        board = BootedBoard(folder / str(class_khz), class_khz)
        for case in same:
            here = board.read(case)
            found.append(
                Outcome(case, here, differences(here, on_unix_port(board.folder, board.flash, case)))
            )
            print(len(found), found[-1].line(), file=sys.stderr, flush=True)
    return found


def run_day(cases: list[Case], folder: Path) -> tuple[list[Heard], list[str]]:
    """The cases one after the other on one power-up, and what differs from the unix port's day."""
    board = BootedBoard(folder / "day", CUSTOM)
    here = board.read_day(cases)
    there = day_on_unix_port(board.folder, board.flash, cases)
    whole = replace(here[-1], listenings=[count for one in here for count in one.listenings])
    return here, differences(whole, there)
