"""What the buttons did while the probe listened and nothing could be allocated: kept, and told as gestures later."""

import array

from micropython import const

from curbtick_probe.hardware import Board
from curbtick_probe.panel.panel import Panel

# Changes of the buttons in one update of a meter: more than fingers make in a fifth of a second.
_MOST = const(8)


class Touches:
    """Changes of a board's buttons. count: how many are kept."""

    def __init__(self, board: Board, panel: Panel) -> None:
        self._board = board
        self._panel = panel
        self._masks = bytearray(_MOST)
        self._times_ms = array.array("i", [0] * _MOST)
        self.count = 0
        self._held = 0

    def begin(self) -> None:
        """Start from the buttons as the panel saw them last."""
        self.count = 0
        self._held = self._panel.held

    def look(self) -> None:
        """Look at the buttons, and keep a change. Allocates nothing."""
        mask = self._board.buttons()
        if mask != self._held and self.count < _MOST:
            self._masks[self.count] = mask
            self._times_ms[self.count] = self._board.ticks_ms()
            self._held = mask
            self.count += 1

    def gestures(self) -> list[str]:
        """Return the gestures that the kept changes make, and forget the changes."""
        found = []
        for n in range(self.count):
            gesture = self._panel.take(self._masks[n], self._times_ms[n])
            if gesture:
                found.append(gesture)
        self.count = 0
        return found
