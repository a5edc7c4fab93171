"""The probe's program from power-up on: which buttons are held, whether flash is sound, then the state machine."""

from curbtick_probe.app import restart
from curbtick_probe.app.machine import App, make_probe
from curbtick_probe.hardware import Board
from curbtick_probe.panel import gestures
from curbtick_probe.panel.panel import Panel
from curbtick_probe.store import supply


def run(board: Board) -> None:
    """Start the app and stay in it; return only when flash fails, which the bar says.

    The watchdog runs from here on: before it, both buttons at power-up lead to a prompt that nothing resets.
    """
    pairing = gestures.POWER_UP_TABLE[_held(board)] == "pairing"
    panel = Panel(board)
    supply.attach(board.battery_mv)
    while not supply.is_enough():
        _say(panel, "battery_low")
    try:
        probe = make_probe(board, pairing)
    except OSError:
        _say(panel, "self_test_failed")
        return
    restart.tell_hang(board, probe)
    board.watch()
    try:
        # All here, for each call in between takes C stack from a reading.
        app = App(board, probe)
        app.test_at_power_up()
        app.run()
    except Exception as error:  # noqa: BLE001 - whatever it is, the technician's probe goes on
        restart.after_error(board, probe, error)


def _say(panel: Panel, word: str) -> None:
    panel.say(word)
    panel.finish()


def _held(board: Board) -> int:
    """Return the buttons held from power-up for POWER_UP_MS; 0 when they were let go before."""
    mask = board.buttons()
    until_ms = board.ticks_ms() + gestures.POWER_UP_MS
    while mask and board.ticks_ms() < until_ms:
        board.wait(until_ms - board.ticks_ms(), False)
        mask &= board.buttons()
    return mask
