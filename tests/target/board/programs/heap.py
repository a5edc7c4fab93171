"""A reading as the firmware takes it, which locks the heap while it listens: run by MicroPython as `heap.py LOW HIGH`.

LOW, HIGH: each input's file of blocks of 1024 samples, two bytes each. Prints how many blocks were taken, how many of
them with the heap unlocked, how deep it is locked afterwards, the reasons' mask and the verdict's number.
"""

import array
import sys

import micropython
from curbtick_probe.bumper import reading
from curbtick_wire import classes, names, settings
from fake_board import FakeBoard


class Capture:
    """Blocks that were made beforehand; notes whether the heap is locked when one is taken."""

    def __init__(self, low_path, high_path):
        self.overruns = 0
        self.unlocked = 0
        self.taken = 0
        self._inputs = {names.INPUT_LOW: blocks_of(low_path), names.INPUT_HIGH: blocks_of(high_path)}
        self._blocks = []

    def start(self, source):
        self._blocks = self._inputs[source]

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


def blocks_of(path):
    blocks = []
    with open(path, "rb") as file:
        data = file.read(2048)
        while data:
            blocks.append(array.array("H", data))
            data = file.read(2048)
    return blocks


def lock_depth():
    micropython.heap_lock()
    return micropython.heap_unlock()


board = FakeBoard(Capture(sys.argv[1], sys.argv[2]))
values = reading.take(board, classes.factory_classes()[1], settings.FACTORY_SET, 0).values
print(board.capture.taken, board.capture.unlocked, lock_depth(), values["reasons"], values["verdict"])
