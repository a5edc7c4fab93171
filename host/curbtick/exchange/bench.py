"""What the bench does with a probe that is plugged in: pull, send, each step kept in the history."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from curbtick_wire import codec, records
from sqlalchemy import func, select

from curbtick.errors import LinkError
from curbtick.fleet import rounds
from curbtick.fleet.rounds import Round
from curbtick.fleet.work import findings
from curbtick.limits.sets import LimitSet
from curbtick.link.client import Client, connect
from curbtick.link.download import Batch
from curbtick.link.replies import Anchor
from curbtick.link.request import RefusedError
from curbtick.store import ingest, tables, times
from curbtick.store.engine import now_ms
from curbtick.store.history import Store, ensure_probe, find_probe

__all__ = ["Pull", "connect", "pull", "send_limits", "send_round"]

# Benches that share a history may differ by so much.
CLOCK_SLACK_MIN = 5
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


def pull(
    store: Store,
    probe: Client,
    progress: Callable[[int, int], object] | None = None,
    clock_ms: Callable[[], int] = now_ms,
) -> Pull:
    """Take over every record of a probe, each exactly once, and acknowledge what is durably stored.

    clock_ms: what says when the pull was made, in milliseconds since 1970 UTC.

    The boot's clock is anchored with the first batch that is accepted, so that its records get their times and
    a log begun afresh leaves those of the old one alone. Raises LinkError, StoreError; whatever was stored
    until then stays, and pulling again goes on from there.
    """
    started_s = time.monotonic()
    start = _start(store, probe)
    anchors = [_anchor(probe)]
    of_clock = _of_clock(store, anchors[0])
    before = store.record_count(probe.unique_id)
    unknown = 0

    def commit(batch: Batch) -> None:
        nonlocal unknown
        unknown += sum(map(_is_unknown, batch.raws))
        covered = (batch.first_seq, batch.last_seq)
        store.ingest(probe.unique_id, batch.raws, covered=covered, anchors=anchors, received_ms=clock_ms())
        anchors.clear()

    def stored_digest(first: int, last: int) -> bytes:
        return store.digest(probe.unique_id, first, last)

    pulled = probe.pull(commit, from_seq=start, stored_digest=stored_digest, progress=progress)
    for made in anchors:
        store.anchor(probe.unique_id, *made)
    with store.write() as connection:
        findings.refresh(connection)
    new = store.record_count(probe.unique_id) - before
    return Pull(
        probe.unique_id,
        pulled.records,
        new,
        pulled.last_seq,
        pulled.acknowledged_seq,
        probe.paired,
        probe.may_change,
        (*probe.greeting.shortcomings(), *_of_key(probe), *of_clock, *_of_unknown(unknown)),
        time.monotonic() - started_s,
    )


def _is_unknown(raw: bytes) -> bool:
    """Whether a record's first two bytes, kind and layout, are none that this version decodes."""
    return raw[0] not in _KINDS or raw[1] != records.LAYOUT


def _of_unknown(count: int) -> list[str]:
    some = f"{count} records are" if count > 1 else "1 record is"
    return [f"{some} of a kind or layout not known here, stored as it came."] if count else []


def _start(store: Store, probe: Client) -> int:
    """Where to begin: above what the history has without a hole, if its newest record is still the probe's.

    At 1 where the probe gave that record up: a log begun afresh shows itself in records that contradict the
    stored ones. Raises StoreError where the log is plainly not the one that the history has.
    """
    newest = _newest(store, probe.unique_id)
    if newest is None:
        return 1
    seq, boot, raw = newest
    greeting = probe.greet()
    if greeting.last_seq < seq or greeting.boot < boot:
        raise ingest.begun_afresh(
            f"The probe stands at record {greeting.last_seq} of boot {greeting.boot}, and the history has its "
            f"record {seq} of boot {boot}."
        )
    held = [raw for batch in probe.batches(seq, seq) for raw in batch.raws]
    if held and held != [raw]:
        raise ingest.begun_afresh(f"The probe's record {seq} differs from the stored one of that number.")
    return store.stored_to(probe.unique_id) + 1 if held else 1


def _newest(store: Store, unique_id: str) -> tuple[int, int, bytes] | None:
    """Number, boot and bytes of the highest record that the history has of a probe's newest life."""
    columns = tables.log.c
    with store.read() as connection:
        query = select(columns.seq, columns.boot, columns.raw).order_by(columns.seq.desc()).limit(1)
        mine = columns.probe_id == find_probe(connection, unique_id)
        row = connection.execute(query.where(mine)).one_or_none()
    return None if row is None else (row.seq, row.boot, bytes(row.raw))


def _anchor(probe: Client) -> times.Anchor:
    """Anchor the boot; the probe logs it too where it may be changed by this bench."""
    made = _logged_anchor(probe) or probe.measure_anchor()
    return times.Anchor(made.boot, made.ticks_ms, made.host_ms, made.uncertainty_ms)


def _logged_anchor(probe: Client) -> Anchor | None:
    """An anchor that the probe logged; None where this bench may change nothing, or its key is no longer known."""
    if not probe.may_change:
        return None
    try:
        return probe.anchor()
    except RefusedError:
        if not probe.key_refused:
            raise
        return None


def _of_key(probe: Client) -> list[str]:
    if not probe.key_refused:
        return []
    return [
        "The probe no longer knows this bench's key, so it keeps its records: hold STEP while switching it on, and run "
        "`curbtick probes pair`."
    ]


def _of_clock(store: Store, anchor: times.Anchor) -> list[str]:
    """A word where this bench's clock stands before a moment at which a probe was pulled already."""
    with store.read() as connection:
        newest_ms = connection.scalar(select(func.max(tables.anchors.c.host_ms))) or 0
    behind_min = (newest_ms - anchor.host_ms) // 60_000
    if behind_min < CLOCK_SLACK_MIN:
        return []
    return [
        f"This bench's clock is {behind_min} minutes behind an earlier pull in this history: one of the two was wrong, "
        "and so are the times of its readings. Set the clock right, and go by the probe's own order until then."
    ]


def send_round(store: Store, probe: Client, made: Round) -> Round:
    """Note that the probe gets a round, and send it: the round as sent. Raises LinkError, StoreError.

    Under a new number where the probe has got another bench's round of that one. Noted first: readings of a
    round that this history does not know to have given would find no vehicle. A round that the probe refuses
    leaves no note, for another bench's round of that number would be taken for it.
    """
    _start(store, probe)
    greeting = probe.greet()
    if not probe.may_change:
        probe.send_round(_as_sent(made))
        return made
    is_held = greeting.round_id == made.number and probe.round() == _as_sent(made)
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        if rounds.is_anothers(connection, key, made.number, greeting.round_id):
            made, is_held = rounds.renumbered(connection, made, greeting.round_id, now_ms()), False
        # A round that the probe has from here already changes nothing there, so the first note goes on.
        if not is_held:
            rounds.note_sent(connection, key, "round", made.number, now_ms(), greeting.last_seq)
        broken_off = _broken_off(probe, made)
    if broken_off is not None:
        raise broken_off
    return made


def _broken_off(probe: Client, made: Round) -> BaseException | None:
    """Send a round; returns what broke it off when the probe may have it all the same, so that the note stands.

    Raises RefusedError, and whatever else says that nothing was sent.
    """
    try:
        probe.send_round(_as_sent(made))
    except RefusedError:
        raise
    except (LinkError, KeyboardInterrupt) as error:
        return error
    return None


def _as_sent(made: Round) -> dict[str, Any]:
    return codec.unpack_round(rounds.payload(made))


def send_limits(store: Store, probe: Client, limit_set: LimitSet) -> None:
    """Send a limit set and note that the probe took it. Raises LinkError, StoreError."""
    probe.send_limits(limit_set)
    with store.write() as connection:
        key = ensure_probe(connection, probe.unique_id, now_ms())
        rounds.note_sent(connection, key, "limits", limit_set["revision"], now_ms())
