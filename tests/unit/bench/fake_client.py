"""A client of a probe that is not there: the tests' one double of `curbtick.link.client.Client`.

It is a client itself, and only what would go over a wire is replaced. So mypy holds every replaced method to the
real one's signature, and greetings and batches are the real classes, made as a probe's bytes are.
"""

import hashlib
from collections.abc import Iterator, Mapping
from types import TracebackType
from typing import Any

from curbtick.limits import sets
from curbtick.link.client import Client
from curbtick.link.download import Batch
from curbtick.link.replies import Anchor, Greeting, greeting_of
from curbtick_wire import messages

from tests.unit.bench.benchdata import PROBE

# How long before the anchor is measured the probe was started.
UP_MS = 60_000
LOG_ID = 7


class FakeClient(Client):
    """A probe as a dict of raw records, with the limits and rounds that it was sent.

    held: raw records by number. boot, last_seq, round_id: what its greeting says. batch_size: how many numbers a batch
    covers at most. has_key: whether this bench is paired. host_ms: the bench's clock when an anchor is measured.
    error: raised instead of taking a round. asked: where each download began.
    """

    def __init__(
        self,
        held: Mapping[int, bytes] | None = None,
        *,
        boot: int = 1,
        has_key: bool = True,
        host_ms: int = 0,
        batch_size: int = 1 << 16,
    ) -> None:
        self.held = dict(held or {})
        self.boot, self.last_seq, self.round_id = boot, max(self.held, default=0), 0
        self.has_key, self.host_ms, self.batch_size = has_key, host_ms, batch_size
        self.key_refused = False
        self.key_trouble = None
        self.in_force = sets.factory()
        self.rounds: list[dict[str, Any]] = []
        self.asked: list[int] = []
        self.error: BaseException | None = None
        self._acknowledged_seq = 0
        self.greet()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """There is no port to give back."""

    @property
    def paired(self) -> bool:
        """Whether this bench has a key."""
        return self.has_key

    def greet(self) -> Greeting:
        """Make the greeting anew, as the reply of a probe of this version is decoded."""
        fields = next(row[2] for row in messages.REPLIES if row[0] == messages.GREET | messages.REPLY)
        zeros = {name: b"" if code.endswith("s") else lowest for name, code, lowest, _ in fields}
        said = {
            "oldest_version": messages.PROTOCOL_VERSION,
            "newest_version": messages.PROTOCOL_VERSION,
            "definition": messages.definition(),
            "unique_id": bytes.fromhex(PROBE),
            "boot": self.boot,
            "capabilities": (1 << len(messages.CAPABILITIES)) - 1,
            "log_id": LOG_ID,
            "last_seq": self.last_seq,
            "acknowledged_seq": self._acknowledged_seq,
            "round_id": self.round_id,
        }
        self.greeting = greeting_of({**zeros, **said})
        return self.greeting

    def measure_anchor(self) -> Anchor:
        """The bench's clock, and a probe that was started UP_MS ago."""
        return Anchor(self.boot, UP_MS, self.host_ms, 6)

    def batches(self, from_seq: int = 1, until_seq: int | None = None) -> Iterator[Batch]:
        """What is held of a range."""
        self.asked.append(from_seq)
        until = self.greeting.last_seq if until_seq is None else until_seq
        for first in range(from_seq, until + 1, self.batch_size):
            last = min(first + self.batch_size - 1, until)
            raws = [self.held[seq] for seq in range(first, last + 1) if seq in self.held]
            yield Batch(first, last, tuple(raws))

    def prove(self, first_seq: int, last_seq: int, digest: bytes) -> bool:
        """Prove a range, as a probe does to a bench that it is paired with."""
        return self.has_key

    def acknowledge(self, last_seq: int, digest: bytes) -> int:
        """Take the acknowledgement of a digest that fits, as a probe does."""
        raws = [self.held[seq] for seq in range(self._acknowledged_seq + 1, last_seq + 1) if seq in self.held]
        assert hashlib.sha256(b"".join(raws)).digest() == digest
        self._acknowledged_seq = last_seq
        return self.greet().acknowledged_seq

    def round(self) -> dict[str, Any] | None:
        """The round that was sent last."""
        return self.rounds[-1] if self.rounds else None

    def limits(self) -> dict[str, Any]:
        """The limit set that was sent last; the factory's before."""
        return self.in_force

    def send_limits(self, limits: dict[str, Any]) -> int:
        """Take a limit set."""
        self.in_force = limits
        return int(limits["revision"])

    def send_round(self, round_: dict[str, Any]) -> int:
        """Take a round, or raise `error`."""
        if self.error:
            raise self.error
        self.rounds.append(round_)
        self.round_id = int(round_["round_id"])
        return self.round_id
