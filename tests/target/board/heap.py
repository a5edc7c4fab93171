"""A reading with the heap locked from its first block to its last: run by MicroPython as `heap.py SAMPLES`.

SAMPLES: a file of blocks of 1024 samples, two bytes each. Prints the verdict's number, or the traceback of what
allocated.
"""

import array
import sys

import micropython
from curbtick_probe.bumper import reading
from curbtick_wire import classes, settings
from fake_board import FakeBoard


class Capture:
    """Blocks that were made beforehand; the first locks the heap."""

    def __init__(self, path):
        self.overruns = 0
        self._locked = False
        self._place = 0
        self._blocks = []
        with open(path, "rb") as file:
            data = file.read(2048)
            while data:
                self._blocks.append(array.array("H", data))
                data = file.read(2048)

    def start(self, source):
        self.stop()

    def whole(self):
        """All blocks of the ring are: nothing comes in between."""
        return 6

    def block(self):
        if not self._locked:
            self._locked = True
            micropython.heap_lock()
        self._place += 1
        return self._blocks[self._place - 1]

    def stop(self):
        if self._locked:
            micropython.heap_unlock()
            self._locked = False


board = FakeBoard(Capture(sys.argv[1]))
try:
    limits = classes.factory_classes()[1]
    taken = reading.take(board, limits, settings.FACTORY_SET, False)
    print(taken.values["verdict"])
except MemoryError as error:
    board.capture.stop()
    sys.print_exception(error)
