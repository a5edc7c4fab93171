"""The emulated board's main.py: the firmware as installed, with its listening watched.

While a reading listens the heap is locked, so that any allocation ends the program; when it stops, what is
free is noted in /heap, the least so far.
"""

import gc
import sys

import micropython

gc.threshold(16384)
sys.path.insert(0, "/fw/a")

from curbtick_probe.board import rp2  # noqa: E402

board = rp2.Board()

from curbtick_probe import reading  # noqa: E402

reading.reader(board)

from curbtick_probe import app  # noqa: E402

capture = board.capture
start, block, stop, take = capture.start, capture.block, capture.stop, reading.take
state = {"armed": False, "locked": False, "least": 1 << 20}


def unlock():
    if state["locked"]:
        micropython.heap_unlock()
        state["locked"] = False


def start_unlocked(source):
    unlock()
    start(source)


def block_locked():
    if state["armed"] and not state["locked"]:
        state["locked"] = True
        micropython.heap_lock()
    return block()


def stop_unlocked():
    unlock()
    stop()
    gc.collect()
    state["least"] = min(state["least"], gc.mem_free())


def take_watched(*words):
    state["armed"] = True
    taken = take(*words)
    state["armed"] = False
    with open("/heap", "w") as file:
        file.write(str(state["least"]))
    return taken


capture.start, capture.block, capture.stop, reading.take = (
    start_unlocked,
    block_locked,
    stop_unlocked,
    take_watched,
)
app.run(board)
