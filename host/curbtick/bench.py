"""What the bench does with a probe that is plugged in: pull, send, each step kept in the history."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from curbtick_wire import codec

from curbtick.client import Client, connect
from curbtick.download import Batch
from curbtick.fleet import rounds, worklist
from curbtick.fleet.rounds import Round
from curbtick.limits.sets import LimitSet
from curbtick.store import Store, ensure_probe
from curbtick.store.engine import now_ms

__all__ = ["Pull", "connect", "pull", "send_limits", "send_round"]


@dataclass(frozen=True)
class Pull:
    """What a pull brought. new: records that the history did not have; acknowledged_seq: the probe's
    answer.
    """

    probe: str
    records: int
    new: int
    last_seq: int
    acknowledged_seq: int
    paired: bool
    spent_s: float


def pull(store: Store, probe: Client, progress: Callable[[int, int], object] | None = None) -> Pull:
    """Take over every record of a probe, each exactly once, and acknowledge what is durably stored.

    The boot's clock is anchored first, so that its records get their times. Raises LinkError, StoreError;
    whatever was stored until then stays, and pulling again goes on from there.
    """
    started_s = time.monotonic()
    _anchor(store, probe)
    before = store.record_count(probe.unique_id)

    def commit(batch: Batch) -> None:
        store.ingest(probe.unique_id, batch.raws, covered=(batch.first_seq, batch.last_seq))

    pulled = probe.pull(commit, progress=progress)
    with store.write() as connection:
        worklist.refresh(connection, now_ms())
    new = store.record_count(probe.unique_id) - before
    return Pull(
        probe.unique_id,
        pulled.records,
        new,
        pulled.last_seq,
        pulled.acknowledged_seq,
        probe.paired,
        time.monotonic() - started_s,
    )


def _anchor(store: Store, probe: Client) -> None:
    """Anchor the boot; the probe logs it too where it may be changed by this bench."""
    may_change = probe.paired and probe.greeting.same_version and probe.greeting.same_definition
    made = probe.anchor() if may_change else probe.measure_anchor()
    store.anchor(probe.unique_id, made.boot, made.ticks_ms, made.host_ms, made.uncertainty_ms)


def send_round(store: Store, probe: Client, made: Round) -> None:
    """Send a round and note that the probe took it. Raises LinkError, StoreError."""
    probe.send_round(codec.unpack_round(rounds.payload(made)))
    _note(store, probe, "round", made.number)


def send_limits(store: Store, probe: Client, limit_set: LimitSet) -> None:
    """Send a limit set and note that the probe took it. Raises LinkError, StoreError."""
    probe.send_limits(limit_set)
    _note(store, probe, "limits", limit_set["revision"])


def _note(store: Store, probe: Client, what: str, number: int) -> None:
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        rounds.note_sent(connection, key, what, number, now_ms())
