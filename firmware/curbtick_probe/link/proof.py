"""The digest of a range of records, worked out in steps, so that the panel stays alive meanwhile."""

import hashlib

from curbtick_wire import messages
from curbtick_wire._typing import Values
from micropython import const

from curbtick_probe.store.log import Log

_READS_PER_STEP = const(40)


class Proof:
    """The digest of what one prove request names.

    log: a log.Log; request: dict of the prove message's fields. A last_seq below first_seq names no record.
    """

    def __init__(self, log: Log, request: Values) -> None:
        self.request = request
        self._log = log
        self._seq = request["first_seq"]
        self._total = hashlib.sha256()

    def step(self) -> bytes | None:
        """One bounded step on: the digest once all records are in it, else None. Raises OSError."""
        for _ in range(_READS_PER_STEP):
            seq = self._log.held_from(self._seq)
            if seq == 0 or seq > self.request["last_seq"]:
                return messages.log_digest(self._log.log_id, self._total.digest())
            self._total.update(self._log.read(seq))
            self._seq = seq + 1
        return None
