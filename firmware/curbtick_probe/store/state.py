"""What the log's records cannot tell of themselves, in a two-slot value."""

import struct

from curbtick_probe.store.slots import Slots

_FORM = "<IIII"
_SIZE = 16


def _accepts(data: bytes) -> bool:
    return len(data) == _SIZE


class State:
    """The log's durable state under root.

    `floor`: no number below it is given out again; `acknowledged`: the bench holds all records up to it;
    `drop_first`, `drop_last`: waves between these numbers are being given up and that is not recorded yet
    (0: none).
    """

    def __init__(self, root: str) -> None:
        self._slots = Slots(root, "log", _accepts)
        held = struct.unpack(_FORM, self._slots.newest) if self._slots.newest else (1, 0, 0, 0)
        self.floor, self.acknowledged, self.drop_first, self.drop_last = held

    def save(self, floor: int) -> None:
        """Make the state durable, with floor as its lowest free number. Raises OSError."""
        self.floor = floor
        self._slots.put(struct.pack(_FORM, floor, self.acknowledged, self.drop_first, self.drop_last))

    def widen_drop(self, first: int, last: int) -> None:
        """Take the range of one more segment of waves into the drop under way."""
        self.drop_first = min(self.drop_first or first, first)
        self.drop_last = max(self.drop_last, last)

    def clear_drop(self) -> None:
        """The drop is recorded."""
        self.drop_first = self.drop_last = 0
