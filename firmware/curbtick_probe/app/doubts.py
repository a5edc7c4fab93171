"""What keeps the probe from judging: it failed its self-test, or its battery is low."""

from curbtick_probe import reason
from curbtick_probe.hardware import Board
from curbtick_probe.link.service import Probe
from curbtick_probe.panel.panel import Panel


class Doubts:
    """Knows what speaks against every verdict now, and tells the technician."""

    def __init__(self, board: Board, probe: Probe, panel: Panel) -> None:
        self._board = board
        self._probe = probe
        self._panel = panel

    def reasons(self) -> int:
        """Return the mask of reasons for which no verdict is given now; 0 for none."""
        low = self._board.battery_mv() < self._probe.limits.current["battery_min_mv"]
        found = reason.BATTERY_LOW if low else 0
        return found | reason.MICROPHONE_FAULT if self._probe.failed else found

    def say(self, reasons: int) -> None:
        """Say what lies behind a RETRY for such reasons."""
        if reasons & reason.BATTERY_LOW:
            self._panel.say("battery_low")
        if self._probe.failed:
            self._panel.say("self_test_failed")
