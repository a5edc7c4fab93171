"""Records on their way out: the log from a place on, cut into numbered slices of one size.

The same request always gives the same slices, so a bench that lost some asks for those alone.
"""

from curbtick_wire._typing import Values
from curbtick_wire.messages import WINDOW
from micropython import const

from curbtick_probe.store.log import Log

_READS_PER_STEP = const(40)


class Slices:
    """The slices of one read request.

    log: a log.Log; request: dict of the read message's fields. `index` counts the slices made so far, wanted or
    not; `done` once the last wanted one is made, `ended` where the records end with it.
    """

    def __init__(self, log: Log, request: Values) -> None:
        self._log = log
        self._size = request["chunk"]
        self._wanted: bytes = request["wanted"]
        self._until = request["until_seq"]
        self._seq = request["from_seq"]
        self._skip = request["from_byte"]
        self._held = bytearray()
        self._stop = max([index + 1 for index in range(WINDOW) if self._is_wanted(index)] or [1])
        self.index = 0
        self.done = False
        self.ended = False

    def _fill(self) -> None:
        """Read records until a slice is held whole, the last one is in, or enough was read for one step."""
        for _ in range(_READS_PER_STEP):
            if len(self._held) >= self._size or not self._seq:
                return
            seq = self._log.held_from(self._seq)
            if seq == 0 or seq > self._until:
                self._seq = 0
                return
            self._held.extend((self._log.read(seq) or b"")[self._skip :])
            self._skip = 0
            self._seq = seq + 1

    def step(self) -> tuple[int, bytes] | None:
        """One bounded step on: (index, bytes of the slice) when a wanted slice is ready, else None."""
        self._fill()
        past_end = self._seq == 0
        if len(self._held) < self._size and not past_end:
            return None
        self.ended = past_end and len(self._held) <= self._size
        self.done = self.ended or self.index + 1 == self._stop
        if not self._held:
            return None
        piece = bytes(self._held[: self._size])
        self._held = self._held[self._size :]
        index = self.index
        self.index += 1
        return (index, piece) if self._is_wanted(index) else None

    def _is_wanted(self, index: int) -> int:
        return self._wanted[index >> 3] >> (index & 7) & 1
