"""Taking a probe's records over: batches stored by the caller, then acknowledged in steps.

Nothing is acknowledged before the caller has stored it, so breaking off anywhere loses nothing and doubles
nothing that the store does not know how to refuse.
"""

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

from curbtick.link.download import Batch
from curbtick.link.replies import Greeting
from curbtick.link.request import RefusedError
from curbtick.progress import Progress

# What is proved and acknowledged at once: the probe must read it all again.
_PIECE_BYTES = 65536


class Source(Protocol):
    """The part of a client that a takeover needs."""

    greeting: Greeting

    @property
    def may_change(self) -> bool:
        """Whether acknowledgements can be sent."""
        ...

    def greet(self) -> Greeting:
        """Bring `greeting` up to date."""
        ...

    def batches(self, from_seq: int = 1, until_seq: int | None = None) -> Iterator[Batch]:
        """The records of a range."""
        ...

    def prove(self, first_seq: int, last_seq: int, digest: bytes) -> bool:
        """Whether the probe proves that it holds this bench's key and records of this digest."""
        ...

    def acknowledge(self, last_seq: int, digest: bytes) -> int:
        """Acknowledge up to last_seq, and bring `greeting` up to date."""
        ...


@dataclass(frozen=True)
class Pulled:
    """What a pull brought.

    last_seq: everything up to it is taken over.
    acknowledged_seq: the probe's reply.
    proved: the probe proved that it holds this bench's key and every record it sent.
    """

    records: int
    last_seq: int
    acknowledged_seq: int
    proved: bool


class Takeover:
    """One pull from a source; the arguments are those of Client.pull."""

    def __init__(
        self,
        source: Source,
        commit: Callable[[Batch], object],
        stored_digest: Callable[[int, int], bytes] | None,
        progress: Progress | None,
    ) -> None:
        self._source = source
        self._commit = commit
        self._stored_digest = stored_digest
        self._progress = progress
        self._count = 0
        self._known = self._proved = False
        self._begin_digest(1)
        self._begin_piece(1)

    def run(self, from_seq: int | None) -> Pulled:
        """Pull from from_seq on (see Client.pull)."""
        greeting = self._source.greet()
        unseen = greeting.acknowledged_seq + 1 if self._source.may_change else 1
        start = unseen if from_seq is None else from_seq
        try:
            if start < unseen:
                # Another bench has acknowledged these; this one has not seen them.
                self._pass(start, min(unseen - 1, greeting.last_seq))
            return self._pass(max(start, unseen), greeting.last_seq)
        except RefusedError as error:
            if error.code != "digest_differs":
                raise
        # The probe gave up records meanwhile that this bench has: take over again what it still holds.
        self._stored_digest = None
        return self._pass(self._source.greet().acknowledged_seq + 1, greeting.last_seq)

    def _pass(self, from_seq: int, until_seq: int) -> Pulled:
        self._begin_digest(from_seq)
        self._begin_piece(from_seq)
        self._known = self._proved = self._source.prove(from_seq, from_seq - 1, self._piece.digest())
        last = min(from_seq - 1, until_seq)
        for batch in self._source.batches(from_seq, until_seq):
            self._take(batch)
            last = batch.last_seq
            if self._progress:
                self._progress(last, until_seq)
            if self._bytes >= _PIECE_BYTES:
                self._settle(last)
        self._settle(last)
        return Pulled(self._count, last, self._source.greeting.acknowledged_seq, self._proved)

    def _begin_digest(self, from_seq: int) -> None:
        """Begin what is to be acknowledged next."""
        self._digest = hashlib.sha256()
        self._digest_from = from_seq

    def _begin_piece(self, from_seq: int) -> None:
        """Begin what is to be proved next."""
        self._piece = hashlib.sha256()
        self._piece_from = from_seq
        self._bytes = 0

    def _take(self, batch: Batch) -> None:
        self._commit(batch)
        self._count += len(batch.raws)
        for raw in batch.raws:
            self._digest.update(raw)
            self._piece.update(raw)
            self._bytes += len(raw)

    def _settle(self, last_seq: int) -> None:
        """Have what came since the last time proved, and acknowledge it, where the probe has proved its key."""
        if not self._known or last_seq < self._piece_from:
            return
        self._proved &= self._source.prove(self._piece_from, last_seq, self._piece.digest())
        self._begin_piece(last_seq + 1)
        self._acknowledge(last_seq)

    def _acknowledge(self, last_seq: int) -> None:
        first = self._source.greeting.acknowledged_seq + 1
        if last_seq < first:
            return
        if self._digest_from == first:
            digest = self._digest.digest()
        elif self._stored_digest:
            digest = self._stored_digest(first, last_seq)
        else:
            return
        self._source.acknowledge(last_seq, digest)
        self._begin_digest(last_seq + 1)
