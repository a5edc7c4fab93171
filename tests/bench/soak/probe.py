"""The probe of the soak: the firmware's storage and link in a small heap. Runs on MicroPython.

    micropython probe.py FD FLASH_FILE

It serves the link on a file descriptor, started for pairing, and obeys lines on standard input: `take N`
logs N readings with snippet and sounds and answers with the log's last number and how many snippets and
sounds it has given up; `heap` answers with the free bytes and the largest block that can be had, after a
collection.
"""

import gc
import select
import sys

from curbtick_probe.board.virtual import flashdisk
from curbtick_probe.board.virtual.board import Serial
from curbtick_probe.link.link import Identity, Link, Probe
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.keys import Keys
from curbtick_probe.store.log import Log
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_wire import codec, records
from fake_board import FakeBoard

ROOT = "/probe"
SNIPPET_BYTES = 700
SOUND_COUNT = 10


def zeros(kind):
    """Values of a record kind, the lowest allowed."""
    return {
        name: low if len(form) == 1 else (low,) * int(form[:-1])
        for name, form, low, _high in codec.kind_entry(kind)[2]
    }


class Probe10k:
    """The rooms, and readings to fill them with. A reading's number is its frequency_hz."""

    def __init__(self, flash_path):
        flashdisk.mount(flashdisk.FlashDisk(flash_path, lambda us: None), ROOT)
        self._board = FakeBoard()
        clock = Clock(ROOT, self._board)
        self.log = Log(ROOT, clock.boot, clock.ticks_ms)
        clock.attach(self.log)
        identity = Identity(self._board)
        self.rooms = Probe(self.log, Limits(ROOT), Rounds(ROOT), clock, Keys(ROOT), identity, True)
        self._taken = 0

    def take(self, count):
        """Log so many readings, each with its snippet and sounds."""
        for _ in range(count):
            self._taken += 1
            self._board.now_ms += 1000
            values = zeros(records.READING)
            values["frequency_hz"] = self._taken
            seq = self.log.append(records.READING, values)
            snippet, sounds = zeros(records.SNIPPET), zeros(records.SOUNDS)
            snippet["reading_seq"] = sounds["reading_seq"] = seq
            sounds["count"] = SOUND_COUNT
            samples = bytes([self._taken & 0xFF]) * SNIPPET_BYTES
            tail = bytes(codec.size_of(records.SOUND) * SOUND_COUNT)
            self.log.append_all(((records.SNIPPET, snippet, samples), (records.SOUNDS, sounds, tail)))


def largest_block():
    """Bytes of the largest block the heap gives, to 256."""
    low, high = 0, gc.mem_free() // 256
    while low < high:
        middle = (low + high + 1) // 2
        try:
            bytearray(middle * 256)
            low = middle
        except MemoryError:
            high = middle - 1
        gc.collect()
    return low * 256


def obey(line, probe):
    """The answer to a line."""
    word, _, rest = line.strip().partition(" ")
    if word == "take":
        probe.take(int(rest))
        return str(probe.log.last_seq) + " " + str(probe.log.dropped)
    gc.collect()
    return str(gc.mem_free()) + " " + str(largest_block())


def main(where, flash_path):
    """Serve until standard input ends."""
    serial = Serial(where)
    probe = Probe10k(flash_path)
    link = Link(serial, probe.rooms)
    commands = select.poll()
    commands.register(sys.stdin, select.POLLIN)
    both = select.poll()
    both.register(sys.stdin, select.POLLIN)
    both.register(serial.stream, select.POLLIN)
    sys.stdout.write("ready\n")
    while True:
        if not link.poll():
            both.poll(100)
        if commands.poll(0):
            line = sys.stdin.readline()
            if not line:
                return
            sys.stdout.write(obey(line, probe) + "\n")


main(sys.argv[1], sys.argv[2])
