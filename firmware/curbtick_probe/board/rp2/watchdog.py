"""The chip's watchdog, and a word that outlives the restart that it makes.

Register numbers: RP2040 data sheet section 4.7.6, RP2350 data sheet section 12.9.7, as the vendor's own register
headers state them. A watchdog restart leaves these registers as they are; loss of power clears them.
"""

import machine
from machine import mem32
from micropython import const

from curbtick_probe.board.rp2 import chip

# The most that an RP2040 can count to is 8,388 ms.
TIMEOUT_MS = const(8000)

_BASE = 0x400D8000 if chip.RP2350 else 0x40058000
_REASON = _BASE + 0x08
_SCRATCH = _BASE + 0x0C
# machine.reset() leaves another bit.
_TIMER = const(1)


class Watchdog:
    """Not running until start(), and then until the power goes.

    hung_in: what note() was told last before the watchdog restarted the chip; -1 where it did not.
    """

    def __init__(self) -> None:
        self.hung_in = mem32[_SCRATCH] & 0xFF if mem32[_REASON] & _TIMER else -1
        self._timer: machine.WDT | None = None
        self.note(0)

    def start(self) -> None:
        """Restart the chip from now on where feed() is not called for TIMEOUT_MS."""
        self._timer = machine.WDT(timeout=TIMEOUT_MS)

    def feed(self) -> None:
        """Say that the program goes on."""
        if self._timer:
            self._timer.feed()

    def note(self, doing: int) -> None:
        """Keep what the program does, 0..255, for the start after a restart."""
        mem32[_SCRATCH] = doing
