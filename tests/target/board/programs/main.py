"""The emulated board's main.py: the firmware as installed, with its listening and its memory watched.

Where a reading takes a block with the heap unlocked, the program ends. What is free is noted in /heap, the least of
each occasion: when listening for a reading or a check begins and ends, and while records are sent.
"""

import gc
import json
import sys

import micropython

gc.threshold(16384)
sys.path.insert(0, "/fw/a")

from curbtick_probe.board.rp2 import board as rp2  # noqa: E402

board = rp2.Board()

from curbtick_probe.bumper import reading  # noqa: E402

reading.reader(board)

from curbtick_probe.app import start as app  # noqa: E402

capture = board.capture
start, block, stop, take, write = capture.start, capture.block, capture.stop, reading.take, board.serial.write
state = {"armed": False, "writes": 0}
least = {}


def occasion():
    """What the probe does now: a reading, a check, or before the first of either its self-test."""
    if state["armed"]:
        return "reading"
    for check in ("hiss", "seal"):
        if "curbtick_probe." + check in sys.modules:
            return check
    return "self-test"


def note(what):
    """Note what is free now."""
    gc.collect()
    free = gc.mem_free()
    if free < least.get(what, 1 << 20) - 256:
        least[what] = free
        with open("/heap", "w") as file:
            json.dump(least, file)


def lock_depth():
    micropython.heap_lock()
    return micropython.heap_unlock()


def start_noted(source):
    note(occasion())
    start(source)


def block_watched():
    if state["armed"] and not lock_depth():
        raise RuntimeError("a reading listens with the heap unlocked")
    return block()


def stop_noted():
    running = capture.running
    stop()
    if running and not lock_depth():
        note(occasion())


def take_watched(*words):
    state["armed"] = True
    taken = take(*words)
    note(occasion())
    state["armed"] = False
    return taken


def write_noted(data):
    state["writes"] += 1
    if state["writes"] % 16 == 1:
        note("pull")
    return write(data)


capture.start, capture.block, capture.stop = start_noted, block_watched, stop_noted
reading.take, board.serial.write = take_watched, write_noted
app.run(board)
