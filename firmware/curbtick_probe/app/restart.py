"""How the probe comes back by itself after an error or a hang, and what the log says of it."""

import io
import sys

from micropython import const

from curbtick_probe.hardware import Board
from curbtick_probe.link.service import Probe
from curbtick_probe.panel import gestures
from curbtick_probe.store.crash import write_crash

# What the app does, by the number that the board keeps over a restart: what it waits for, what a bench's round makes it
# do, and the actions of gestures.
WAITING, LINK = range(2)
TAKE_ROUND = "take_round"
_DOING = ("waiting", "link", TAKE_ROUND) + tuple(sorted(set(gestures.GESTURE_TABLE.values())))


# Characters of a crash's place: of the functions' names, and of the error.
_CALLS_MOST = const(54)
_ERROR_MOST = const(40)


def number_of(action: str) -> int:
    """The number of an action: TAKE_ROUND, or one of the gestures."""
    return _DOING.index(action)


def tell_hang(board: Board, probe: Probe) -> None:
    """Log that the watchdog ended the start before this one, where it did."""
    if board.hung_in >= 0:
        doing = _DOING[board.hung_in] if board.hung_in < len(_DOING) else "unknown"
        write_crash(probe.log, "watchdog", "in " + doing, probe.clock.boot - 1)


def after_error(board: Board, probe: Probe, error: Exception) -> None:
    """Log an error that ended the program, and start again."""
    try:
        write_crash(probe.log, _cause_of(error), _place_of(error), probe.clock.boot, probe.clock.ticks_ms())
    finally:
        # Whatever is wrong with the log, the probe comes back.
        board.reset()


def _cause_of(error: Exception) -> str:
    if isinstance(error, MemoryError):
        return "out_of_memory"
    return "flash" if isinstance(error, OSError) else "error"


def _place_of(error: Exception) -> str:
    """The functions that an error went through, the innermost last, and the error: what is installed has no lines."""
    text = io.StringIO()
    sys.print_exception(error, text)
    lines = text.getvalue().split("\n")
    calls = [line.split(" in ")[-1] for line in lines if line.startswith("  File ")]
    told = [line for line in lines if line and not line.startswith((" ", "Traceback"))]
    return " ".join(calls)[-_CALLS_MOST:] + ": " + " ".join(told)[:_ERROR_MOST]
