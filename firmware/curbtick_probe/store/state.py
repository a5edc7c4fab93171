"""What the log's records cannot tell of themselves, in a two-slot value."""

import os
import struct

from curbtick_probe.store.slots import Slots

_FORM = "<IIIII"
_SIZE = 20
_ID_BYTES = 4
_FOLDER_SIZE = 11


def draw_log_id() -> int:
    """Return 32 random bits that name a new log, never 0."""
    log_id = 0
    while not log_id:
        log_id = int.from_bytes(os.urandom(_ID_BYTES), "little")
    return log_id


def log_folder(root: str, log_id: int) -> str:
    """The path of the folder of a log's segments."""
    return root + "/log%08x" % log_id


def log_id_in(file_names: list[str]) -> int:
    """The id of the log whose folder is among file names, 0 where there is none."""
    for name in file_names:
        if len(name) == _FOLDER_SIZE and name.startswith("log"):
            try:
                return int(name[3:], 16)
            except ValueError:
                continue
    return 0


def _accepts(data: bytes) -> bool:
    return len(data) == _SIZE


class State:
    """The log's durable state under root.

    `log_id`: that of the log's folder; else the one kept here; else drawn, and kept before the folder is made.
    `floor`: no number below it is given out again; `acknowledged`: the bench holds all records up to it; `drop_first`,
    `drop_last`: waves between these numbers are being given up and that is not recorded yet (0: none). What was kept
    for a log of another id says nothing of this one. Raises OSError where flash fails.
    """

    log_id: int
    floor: int
    acknowledged: int
    drop_first: int
    drop_last: int

    def __init__(self, root: str) -> None:
        self._slots = Slots(root, "log", _accepts)
        log_id = log_id_in(os.listdir(root))
        self._take(0, 1, 0, 0, 0)
        if self._slots.newest:
            self._take(*struct.unpack(_FORM, self._slots.newest))
        if log_id and self.log_id != log_id:
            self._take(log_id, 1, 0, 0, 0)
        if not self.log_id:
            self.log_id = draw_log_id()
            self.save(self.floor)

    def _take(self, log_id: int, floor: int, acknowledged: int, drop_first: int, drop_last: int) -> None:
        self.log_id, self.floor, self.acknowledged = log_id, floor, acknowledged
        self.drop_first, self.drop_last = drop_first, drop_last

    def save(self, floor: int) -> None:
        """Make the state durable, with floor as its lowest free number. Raises OSError."""
        self.floor = floor
        values = (self.log_id, floor, self.acknowledged, self.drop_first, self.drop_last)
        self._slots.put(struct.pack(_FORM, *values))

    def widen_drop(self, first: int, last: int) -> None:
        """Take the range of one more segment of waves into the drop under way."""
        self.drop_first = min(self.drop_first or first, first)
        self.drop_last = max(self.drop_last, last)

    def clear_drop(self) -> None:
        """The drop is recorded."""
        self.drop_first = self.drop_last = 0
