"""Start the probe; with both buttons held at power-up leave for MicroPython's prompt instead."""

import gc
import sys

# Collect early and often: the buffers of a reading need their room in one piece.
gc.threshold(16_384)

if sys.platform == "rp2":
    from curbtick_probe.board import rp2 as hardware
else:
    from curbtick_probe.board import virtual as hardware

if not hardware.repl_wanted():
    # The largest buffers come before most modules, which break memory up.
    board = hardware.Board()
    from curbtick_probe import reading

    reading.reader(board)
    from curbtick_probe import app

    app.run(board)
