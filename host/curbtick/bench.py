"""What the bench does with a probe that is plugged in: pull, send, each step kept in the history."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from curbtick_wire import codec, records
from sqlalchemy import select

from curbtick.client import Client, connect
from curbtick.download import Batch
from curbtick.fleet import rounds, worklist
from curbtick.fleet.rounds import Round
from curbtick.limits.sets import LimitSet
from curbtick.store import Store, ensure_probe, find_probe, tables
from curbtick.store.engine import now_ms

__all__ = ["Pull", "connect", "pull", "send_limits", "send_round"]

_KINDS = frozenset(entry[0] for entry in records.KINDS)


@dataclass(frozen=True)
class Pull:
    """What a pull brought. new: records that the history did not have; acknowledged_seq: the probe's
    answer; may_change: whether this bench could acknowledge; notes: what is to be said of it, a sentence each.
    """

    probe: str
    records: int
    new: int
    last_seq: int
    acknowledged_seq: int
    paired: bool
    may_change: bool
    notes: tuple[str, ...]
    spent_s: float


def pull(store: Store, probe: Client, progress: Callable[[int, int], object] | None = None) -> Pull:
    """Take over every record of a probe, each exactly once, and acknowledge what is durably stored.

    The boot's clock is anchored first, so that its records get their times. Raises LinkError, StoreError;
    whatever was stored until then stays, and pulling again goes on from there.
    """
    started_s = time.monotonic()
    _anchor(store, probe)
    before = store.record_count(probe.unique_id)
    unknown = 0

    def commit(batch: Batch) -> None:
        nonlocal unknown
        unknown += sum(map(_is_unknown, batch.raws))
        store.ingest(probe.unique_id, batch.raws, covered=(batch.first_seq, batch.last_seq))

    def stored_digest(first: int, last: int) -> bytes:
        return store.digest(probe.unique_id, first, last)

    start = _start(store, probe)
    pulled = probe.pull(commit, from_seq=start, stored_digest=stored_digest, progress=progress)
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
        probe.may_change,
        (*probe.greeting.shortcomings(), *_of_unknown(unknown)),
        time.monotonic() - started_s,
    )


def _is_unknown(raw: bytes) -> bool:
    """Whether a record's first two bytes, kind and layout, are none that this version decodes."""
    return raw[0] not in _KINDS or raw[1] != records.LAYOUT


def _of_unknown(count: int) -> list[str]:
    some = f"{count} records are" if count > 1 else "1 record is"
    return [f"{some} of a kind or layout not known here, stored as it came."] if count else []


def _start(store: Store, probe: Client) -> int:
    """Where to begin: above what the history has without a hole, if the last record of that is still the probe's.

    At 1 where it is not: a log begun afresh shows itself in records that contradict the stored ones.
    """
    stored_to = store.stored_to(probe.unique_id)
    newest = _newest(store, probe.unique_id, stored_to)
    if newest is None:
        return 1
    seq, raw = newest
    held = [raw for batch in probe.batches(seq, seq) for raw in batch.raws]
    return stored_to + 1 if held == [raw] else 1


def _newest(store: Store, unique_id: str, up_to_seq: int) -> tuple[int, bytes] | None:
    """The number and the bytes of the highest record that the history has, up to a number."""
    columns = tables.log.c
    with store.read() as connection:
        mine = (columns.probe_id == find_probe(connection, unique_id), columns.seq <= up_to_seq)
        query = select(columns.seq, columns.raw).where(*mine).order_by(columns.seq.desc()).limit(1)
        row = connection.execute(query).one_or_none()
    return None if row is None else (row.seq, bytes(row.raw))


def _anchor(store: Store, probe: Client) -> None:
    """Anchor the boot; the probe logs it too where it may be changed by this bench."""
    made = probe.anchor() if probe.may_change else probe.measure_anchor()
    store.anchor(probe.unique_id, made.boot, made.ticks_ms, made.host_ms, made.uncertainty_ms)


def send_round(store: Store, probe: Client, made: Round) -> None:
    """Note that the probe gets a round, and send it. Raises LinkError, StoreError.

    Noted first: readings of a round that this history does not know to have given would find no vehicle.
    """
    _note(store, probe, "round", made.number)
    probe.send_round(codec.unpack_round(rounds.payload(made)))


def send_limits(store: Store, probe: Client, limit_set: LimitSet) -> None:
    """Send a limit set and note that the probe took it. Raises LinkError, StoreError."""
    probe.send_limits(limit_set)
    _note(store, probe, "limits", limit_set["revision"])


def _note(store: Store, probe: Client, what: str, number: int) -> None:
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        rounds.note_sent(connection, key, what, number, now_ms())
