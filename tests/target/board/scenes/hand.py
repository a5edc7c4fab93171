"""A technician's hand at the emulated board, which notes what each reading took."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.target.board.heap_seen import Heap
from tests.target.board.scenes.cases import Case
from tests.target.board.scenes.day import PRELOADED, PRESS_S, REST_S, Day
from tests.target.board.scenes.heard import Heard
from tests.target.board.scenes.listening import CountedEar
from tests.target.board.scenes.logs import records_in

# MicroPython's C stack on the RP2040: 8 kB below the end of RAM (ports/rp2/memmap_mp_rp2040.ld).
STACK_BOTTOM = 0x20042000 - 8192
RING_BLOCKS = 8
VERDICT_S = 5.0
REST_MOST_S = 12.0
# While it beeps, the probe does not look at its buttons.
LONGER_THAN_A_BEEP_S = 0.4
_LOOK_NS = 1e5
_STORED_S = 1.5
_QUIET_S = 0.3


class LeastFree:
    """The least free heap right after a collection, which is where what was free has grown."""

    def __init__(self, heap: Heap) -> None:
        self._heap = heap
        self._before = self.least = heap.free_bytes()

    def look(self) -> None:
        """Look at the heap; often, for what is allocated after a collection is taken from what it left."""
        free = self._heap.free_bytes()
        if free > self._before:
            self.least = min(self.least, free)
        self._before = free


class Hand:
    """Takes readings on an emulated board, and notes what they took."""

    def __init__(self, day: Day, folder: Path) -> None:
        assert day.board.engine and day.board.flash, "this needs the C core, so a C compiler"
        self._day, self._folder = day, folder
        self._board, self._flash = day.board, day.board.flash
        self._engine, self._core = day.board.engine, day.board.engine.fast
        self._heap = LeastFree(Heap(day.board.chip))

    def read(self, case: Case, first_seq: int = PRELOADED + 1) -> Heard:
        """Press READ, wait for the verdict, and cut it short by STEP, so that all is stored at once."""
        self._until_rest()
        ear = CountedEar(case.make)
        heard = self._until_verdict(ear)
        self._press("step", LONGER_THAN_A_BEEP_S)
        self._until_stored()
        heard.heap_free = self._heap.least
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
            self._heap.look()
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

    def _until_rest(self) -> None:
        """Wait until the bar rests on a place: while it says something, its first change would not be the verdict."""
        watch, board = self._day.watch, self._board

        def is_at_rest() -> bool:
            watch.look()
            last = watch.changes[-1]
            return last.mask.bit_count() == 1 and board.seconds - last.time_us / 1e6 >= REST_S

        if not board.run_until(is_at_rest, REST_MOST_S):
            raise TimeoutError("the bar does not come to rest")

    def _until_stored(self) -> None:
        """Wait until flash has been written and then left alone for a while."""
        board, flash = self._board, self._flash
        written_ms, quiet_from_s = flash.spent_ms, board.seconds + _STORED_S
        while board.seconds < quiet_from_s:
            board.run(0.02)
            self._heap.look()
            if flash.spent_ms != written_ms:
                written_ms, quiet_from_s = flash.spent_ms, board.seconds + _QUIET_S
