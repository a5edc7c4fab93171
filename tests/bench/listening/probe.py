"""Runs under MicroPython: hears readings that come as samples on stdin; a JSON line says what each held."""

import array
import json
import sys

from curbtick_probe.bumper.listen import BLOCK, Listener
from curbtick_probe.bumper.trains.evidence import Evidence
from curbtick_wire import classes
from fake_board import FakeBoard

BLOCKS = int(sys.argv[1])


class Capture:
    """Hands out blocks from stdin."""

    def __init__(self):
        self.ring = [array.array("H", bytes(2 * BLOCK)) for _ in range(8)]
        self.taken = 0
        self.overruns = 0

    def start(self, source):
        """Stdin is always ready."""

    def stop(self):
        """Nothing to stop."""

    def whole(self):
        """All blocks of the ring are: nothing comes in between."""
        return 6

    def block(self):
        """Return the next block; allocates nothing, as the listener has the heap locked."""
        block = self.ring[self.taken % 8]
        self.taken += 1
        sys.stdin.buffer.readinto(block)
        return block


listener = Listener(FakeBoard(Capture()))
heard = Evidence()
for _ in range(int(sys.argv[2])):
    listener.start(0)
    while listener.folded < BLOCKS:
        listener.step()
    listener.stop()
    listener.settle()
    sounds = listener.sounds
    heard.sort(sounds, classes.factory_classes()[1], listener.time_us())
    rows = [[column[row] for column in sounds.columns] for row in range(sounds.count)]
    sys.stdout.write(
        json.dumps({"sounds": rows, "score": heard.siblings.score, "dropped": sounds.dropped}) + "\n"
    )
