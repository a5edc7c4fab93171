"""The emulated board's main.py for tests of the watchdog: what is installed hangs in its first reading, once."""

import gc
import os
import sys

gc.threshold(16384)
sys.path.insert(0, "/fw/a")

from curbtick_probe.board.rp2 import board as rp2  # noqa: E402

if not rp2.repl_wanted():
    board = rp2.Board()

    from curbtick_probe.bumper import reading

    reading.reader(board)
    take = reading.take

    def take_and_hang(*words):
        """Listen for ever, once."""
        if "hung" not in os.listdir("/"):
            open("/hung", "w").close()
            while True:
                board.capture.start(0)
                board.capture.block()
        return take(*words)

    reading.take = take_and_hang

    from curbtick_probe.app import start

    start.run(board)
