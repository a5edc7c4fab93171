"""Boot id, ticks and time anchors. The probe does not know the date: the bench computes it."""

import struct

from curbtick_wire import names, records
from curbtick_wire._typing import Any

from curbtick_probe.hardware import Board
from curbtick_probe.store import log
from curbtick_probe.store.log import Log
from curbtick_probe.store.slots import Slots

# The chip's own millisecond ticks start over at this many.
_TICKS_WRAP_MS = 1 << 30


class Clock:
    """The clock of one start of the probe.

    `boot`: 1..65535, durable before the constructor returns, and never given out before. A slot that cannot
    be read may have held a later boot than the one found, so each such slot skips one; with no slot left the
    log's highest boot counts. Raises OSError where flash fails, and where all 65535 boots are used up.
    """

    def __init__(self, root: str, board: Board) -> None:
        self._ticks_ms = board.ticks_ms
        self._last_ms = board.ticks_ms()
        self._now_ms = 0
        self.log: Any = None
        slots = Slots(root, "boot")
        last = self._last_boot(slots, root)
        self.boot = last + 1 + slots.damaged
        if self.boot > records.BOOT_MAX:
            raise OSError("the probe has used up its boot ids")
        slots.put(struct.pack("<H", self.boot))

    def _last_boot(self, slots: Slots, root: str) -> int:
        if slots.newest is None:
            return log.highest_boot(root)
        boot: int = struct.unpack("<H", slots.newest)[0]
        return boot

    def ticks_ms(self) -> int:
        """Milliseconds since the clock was made; never runs backwards, stays at 2**32 - 1 once there."""
        now = self._ticks_ms()
        self._now_ms = min(self._now_ms + (now - self._last_ms) % _TICKS_WRAP_MS, records.NONE_U32)
        self._last_ms = now
        return self._now_ms

    def attach(self, to_log: Log) -> None:
        """Give the clock the log that anchors are recorded in."""
        self.log = to_log

    def anchor(self, host_time_s: int, uncertainty_ms: int) -> int:
        """Record the bench's time now: an `anchored` event, whose ticks are the other half of the pair.

        host_time_s: seconds since 1970 (UTC), 1..2**32-1; uncertainty_ms: 0..2**32-1. Gives the event's seq;
        0 where the log is full.
        """
        seq: int = self.log.event(names.EVENTS.index("anchored"), host_time_s, uncertainty_ms)
        return seq
