"""Runs under MicroPython on the virtual board: takes readings, and sorts made-up sounds, as readingdata.Prober asks."""

import binascii
import json

import micropython
from curbtick_probe.board.virtual.board import Board, Capture
from curbtick_probe.bumper import reading
from curbtick_probe.bumper.trains.evidence import Evidence
from curbtick_probe.bumper.trains.sounds import Sounds
from curbtick_wire import codec, records

# As readingdata has them.
NO_MEMORY, NO_STACK = -1, -2
HEADER = {"seq": 1, "boot": 1, "ticks_ms": 0}


class Busy(Capture):
    """Samples of a probe that something else keeps busy once in a reading."""

    before_block = -1
    for_us = 0
    on_input = 0
    unlocked = 0

    def start(self, source):
        """As a capture does, and count its blocks from here."""
        super().start(source)
        self.source = source
        self.blocks = 0

    def block(self):
        """As a capture does, later where the probe was busy; or it allocates, or uses up the stack."""
        if not lock_depth():
            self.unlocked += 1
        if self.blocks == self.before_block and self.source == self.on_input:
            if self.for_us == NO_MEMORY:
                bytearray(64)
            if self.for_us == NO_STACK:
                deeper()
            self._bus.charge(self.for_us)
        self.blocks += 1
        return super().block()


def deeper():
    """Call itself for ever."""
    deeper()


def lock_depth():
    """How often the heap is locked."""
    micropython.heap_lock()
    return micropython.heap_unlock()


def records_of(taken):
    """What the log would get, each record in hex."""
    kept = [codec.encode_record(records.READING, HEADER, taken.values)]
    if taken.snippet:
        kept.append(codec.encode_record(records.SNIPPET, HEADER, taken.snippet[0], taken.snippet[1]))
    for values, tail in taken.sounds:
        kept.append(codec.encode_record(records.SOUNDS, HEADER, values, tail))
    return [binascii.hexlify(record).decode() for record in kept]


def take(board, asked):
    """Take one reading."""
    board.capture.before_block, board.capture.for_us = asked["stall"]
    board.capture.on_input = asked["stalled_input"]
    board.capture.unlocked = 0
    started_us = board.ticks_us()
    taken = reading.take(board, asked["limits"], asked["limit_set"], asked["before_us"])
    took_us = board.ticks_us() - started_us
    return {
        "took_us": took_us,
        "unlocked_blocks": board.capture.unlocked,
        "locked_after": lock_depth(),
        "records": records_of(taken),
        "heard": heard_by(board, asked["columns"]),
    }


def heard_by(board, columns):
    """Every sound of the last reading, by column."""
    sounds = reading.reader(board).listener.sounds
    return {name: list(getattr(sounds, name)[: sounds.count]) for name in columns}


def sort(asked):
    """Sort sounds into trains."""
    sounds = Sounds()
    for values in asked["rows"]:
        row = sounds.claim(values[-1], values[0])
        for place, name in enumerate(asked["columns"]):
            getattr(sounds, name)[row] = values[place]
    heard = Evidence()
    heard.sort(sounds, asked["limits"], asked["listened_us"])
    found = {name: getattr(part_of(heard, part), field) for name, part, field in asked["places"]}
    found["kinds"] = list(sounds.kind[: sounds.count])
    return found


def part_of(heard, name):
    """A part of the evidence; itself for no name."""
    return getattr(heard, name) if name else heard


board = Board()
board.capture = Busy(board.bus)
answer = {}
while True:
    asked = json.loads(board.bus.ask(json.dumps(answer).encode()))
    if not asked:
        break
    answer = take(board, asked) if asked["do"] == "take" else sort(asked)
