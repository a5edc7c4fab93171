"""Boot id, ticks and time anchors. The probe does not know the date: the bench computes it."""

import os
import struct

from curbtick_wire import names, records
from curbtick_wire._typing import Any

from curbtick_probe.hardware import Board
from curbtick_probe.store.log import Log
from curbtick_probe.store.scan import SegmentReader
from curbtick_probe.store.shelf import numbers_in, segment_path
from curbtick_probe.store.slots import Slots
from curbtick_probe.store.state import log_folder, log_id_in

# The chip's own millisecond ticks start over at this many.
_TICKS_WRAP_MS = 1 << 30
_FORM = "<I"


def highest_boot(root: str) -> int:
    """The highest boot id in the log under root, 0 where there is none: a scan of everything."""
    highest = 0
    try:
        folder = log_folder(root, log_id_in(os.listdir(root)))
        file_names = os.listdir(folder)
    except OSError:
        return 0
    for letter in "rw":
        for number in numbers_in(file_names, letter):
            highest = max(highest, _boot_in(segment_path(folder, letter, number)))
    return highest


def _boot_in(path: str) -> int:
    highest = 0
    try:
        reader = SegmentReader(path, bytearray(records.SNIPPET_MAX))
        while reader.step():
            highest = max(highest, reader.boot)
        reader.close()
    except OSError:
        pass
    return highest


class Clock:
    """The clock of one start of the probe.

    `boot`: 1..2**32-1, durable before the constructor returns, and never given out before. A slot that cannot
    be read may have held a later boot than the one found, so each such slot skips one; with no slot left the
    log's highest boot counts. Raises OSError where flash fails.
    """

    def __init__(self, root: str, board: Board) -> None:
        self._ticks_ms = board.ticks_ms
        self._last_ms = board.ticks_ms()
        self._now_ms = 0
        self.log: Any = None
        slots = Slots(root, "boot")
        last = self._last_boot(slots, root)
        self.boot = last + 1 + slots.damaged
        slots.put(struct.pack(_FORM, self.boot))

    def _last_boot(self, slots: Slots, root: str) -> int:
        if slots.newest is None:
            return highest_boot(root)
        boot: int = struct.unpack(_FORM, slots.newest)[0]
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
