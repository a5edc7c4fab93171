"""Start the probe; with both buttons held at power-up leave for MicroPython's prompt instead."""

import gc
import sys

# Collect early and often: the buffers of a reading need their room in one piece.
gc.threshold(16_384)

if sys.platform == "rp2":
    from curbtick_probe.board.rp2 import board as hardware
else:
    from curbtick_probe.board.virtual import board as hardware

if not hardware.repl_wanted():
    # The largest buffers come before most modules, which break memory up.
    board = hardware.Board()
    from curbtick_probe.bumper import reading

    reading.reader(board)
    from curbtick_probe.app import start

    start.run(board)
