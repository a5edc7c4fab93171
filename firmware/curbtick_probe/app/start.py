"""The probe's program from power-up on: which buttons are held, whether flash is sound, then the state machine."""

from curbtick_probe.app.machine import App, make_probe
from curbtick_probe.hardware import Board
from curbtick_probe.panel import gestures
from curbtick_probe.panel.panel import Panel


def run(board: Board) -> None:
    """Start the app and stay in it; return only when flash fails, which the bar says."""
    pairing = gestures.POWER_UP_TABLE[_held(board)] == "pairing"
    try:
        probe = make_probe(board, pairing)
    except OSError:
        panel = Panel(board)
        panel.say("self_test_failed")
        panel.finish()
        return
    app = App(board, probe)
    app.test_at_power_up()
    app.run()


def _held(board: Board) -> int:
    """Return the buttons held from power-up for POWER_UP_MS; 0 when they were let go before."""
    mask = board.buttons()
    until_ms = board.ticks_ms() + gestures.POWER_UP_MS
    while mask and board.ticks_ms() < until_ms:
        board.wait(until_ms - board.ticks_ms(), False)
        mask &= board.buttons()
    return mask
