"""The seal and hiss checks lock the heap themselves, and allocate nothing while they listen."""

from pathlib import Path

import numpy as np
from curbtick.virtual.probe.process import run_script
from numpy.typing import NDArray

from tests.pair.virtual.test_seal_hiss import CodesEar, noise, tone

# A heap that is full before a check listens: the lock is the firmware's own.
LOCKED = """
from curbtick_probe.board.virtual.board import Board
from curbtick_probe.hiss.check import HissCheck
from curbtick_probe.seal.check import SealCheck
limits = {"revision": 1, "seal_leak_cdb": 2400, "hiss_rise_cdb": 50, "high_floor_min_cdb": -5000}

def heap_locked():
    try:
        bytearray(64)
    except MemoryError:
        return True
    return False

board = Board()
seal, hiss = SealCheck(board, 15000, limits), HissCheck(board, limits)
seal.reference()
assert seal.reference_cdb is not None
assert hiss.background(8, 2)
board.bus.ask(b"louder")
# The first look makes the answer that every later one fills; the app has looked before it listens.
board.serial.any()
for check in (seal, hiss):
    check.start()
    assert heap_locked()
    for _ in range(8):
        check.update()
        board.buttons()
        board.serial.any()
    check.stop()
    assert not heap_locked()
    assert not check.section.lost, check
assert hiss.section.tones.count
"""


class Swapped:
    """An ear in whose place another may be put."""

    def __init__(self, ear: "CodesEar") -> None:
        self.ear = ear

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        return self.ear.read(count, input, start_us)


def test_listening_allocates_nothing(tmp_path: Path) -> None:
    """The checks lock the heap themselves: an allocation in an update, on a tone and noise, would end the program."""
    script = tmp_path / "locked.py"
    script.write_text(LOCKED)
    sounds = {b"": tone(15_020, 0.1, 1.0), b"louder": tone(15_020, 0.1, 1.0) + tone(33_000, 0.1, 1.0)}

    def played(key: bytes) -> CodesEar:
        return CodesEar(np.rint(2048 + 2047 * (sounds[key] + noise(0.01, 1.0))).astype(np.uint16))

    job = Swapped(played(b""))

    def louder(payload: bytes) -> bytes:
        job.ear = played(payload)
        return b""

    assert run_script(script, job, louder).exit_code == 0
