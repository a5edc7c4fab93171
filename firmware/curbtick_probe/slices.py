"""Records on their way out: the log from a place on, cut into numbered slices of one size.

The same request always gives the same slices, so a bench that lost some asks for those alone.
"""

from curbtick_wire.messages import WINDOW
from micropython import const

_READS_PER_STEP = const(40)


class Slices:
    """The slices of one read request.

    log: a log.Log; request: dict of the read message's fields. `done` once nothing is left; `index` counts
    the slices made so far, wanted or not.
    """

    def __init__(self, log, request):
        self._log = log
        self._size = request["chunk"]
        self._wanted = request["wanted"]
        self._until = min(request["until_seq"], log.last_seq or 0)
        self._seq = max(request["from_seq"], log.first_seq or 1)
        self._skip = request["from_byte"]
        self._held = bytearray()
        self.index = 0
        self.done = False

    def _fill(self):
        """Read records until a slice is held whole, the last one is in, or enough was read for one step."""
        for _ in range(_READS_PER_STEP):
            if len(self._held) >= self._size or self._seq > self._until:
                return
            record = self._log.read(self._seq)
            self._seq += 1
            if record:
                self._held.extend(record[self._skip :])
                self._skip = 0

    def step(self):
        """One bounded step on: (index, bytes of the slice) when a wanted slice is ready, else None."""
        self._fill()
        ended = self._seq > self._until
        if len(self._held) < self._size and not ended:
            return None
        if not self._held:
            self.done = True
            return None
        piece = bytes(self._held[: self._size])
        self._held = self._held[self._size :]
        index = self.index
        self.index += 1
        self.done = self.index == WINDOW or (ended and not self._held)
        return (index, piece) if self._wanted[index >> 3] >> (index & 7) & 1 else None
