"""A reading as the firmware takes it, which locks the heap while it listens: run by MicroPython as `heap.py SAMPLES`.

SAMPLES: a file of blocks of 1024 samples, two bytes each. Prints how many blocks were taken, how many of them with the
heap unlocked, how deep it is locked afterwards, the reasons' mask and the verdict's number.
"""

import array
import sys

import micropython
from curbtick_probe.bumper import reading
from curbtick_wire import classes, settings
from fake_board import FakeBoard


class Capture:
    """Blocks that were made beforehand; notes whether the heap is locked when one is taken."""

    def __init__(self, path):
        self.overruns = 0
        self.unlocked = 0
        self.taken = 0
        self._blocks = []
        with open(path, "rb") as file:
            data = file.read(2048)
            while data:
                self._blocks.append(array.array("H", data))
                data = file.read(2048)

    def start(self, source):
        pass

    def whole(self):
        """All blocks of the ring are: nothing comes in between."""
        return 6

    def block(self):
        if not lock_depth():
            self.unlocked += 1
        self.taken += 1
        return self._blocks[self.taken - 1]

    def stop(self):
        pass


def lock_depth():
    micropython.heap_lock()
    return micropython.heap_unlock()


board = FakeBoard(Capture(sys.argv[1]))
values = reading.take(board, classes.factory_classes()[1], settings.FACTORY_SET, 0).values
print(board.capture.taken, board.capture.unlocked, lock_depth(), values["reasons"], values["verdict"])
