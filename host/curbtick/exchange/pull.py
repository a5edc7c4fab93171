"""Take over the records of a probe that is plugged in, and note in the history that it was pulled."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from curbtick_wire import records
from sqlalchemy import func, select

from curbtick.dates import now_ms
from curbtick.fleet.work import findings
from curbtick.link.client import Client
from curbtick.link.download import Batch
from curbtick.link.replies import Anchor
from curbtick.link.request import RefusedError
from curbtick.progress import Progress
from curbtick.store import tables
from curbtick.store.decode import decode, number_of
from curbtick.store.fold import times
from curbtick.store.history import Store
from curbtick.store.keys import digest

# Benches that share a history may differ by so much.
CLOCK_SLACK_MIN = 5
_NUMBERS_SHOWN = 5
_KINDS = frozenset(entry[0] for entry in records.KINDS)


@dataclass(frozen=True)
class Pull:
    """What a pull brought.

    probe: the probe's unique id in hex.
    records: records that the probe sent.
    new: those that the history did not have.
    last_seq: the history has everything up to this record.
    acknowledged_seq: up to where the probe takes its records for delivered.
    log_id: names the log that was pulled.
    proved: the probe proved that it holds this bench's key and every record it sent.
    paired: whether this bench has a key for the probe.
    may_change: whether this bench could acknowledge.
    notes: what the user must know about the pull, a sentence each.
    spent_s: how long it took.
    """

    probe: str
    records: int
    new: int
    last_seq: int
    acknowledged_seq: int
    log_id: int
    proved: bool
    paired: bool
    may_change: bool
    notes: tuple[str, ...]
    spent_s: float


def pull_probe(
    store: Store,
    probe: Client,
    progress: Progress | None = None,
    clock_ms: Callable[[], int] = now_ms,
) -> Pull:
    """Take over every record of a probe, each exactly once, and acknowledge what is durably stored.

    progress: called with the number of the record that arrived and that of the last one.
    clock_ms: gives the time of the pull, in milliseconds since 1970 UTC.

    The boot's clock is anchored with the first batch, so that its records get their times. Raises LinkError,
    StoreError; whatever was stored until then stays, and pulling again goes on from there.
    """
    started_s = time.monotonic()
    from_seq = starting_seq(store, probe)
    anchors = [_anchor(probe)]
    clock_notes = _clock_notes(store, anchors[0])
    new = 0
    unknown, unfit = list[int](), list[int]()
    log_id, brought = probe.greeting.log_id, dict[int, bytes]()

    def commit(batch: Batch) -> None:
        nonlocal new
        for raw in batch.raws:
            if _is_unknown(raw):
                unknown.append(number_of(raw))
            elif decode(raw).row is None:
                unfit.append(number_of(raw))
        # What the probe claims beyond its last record is not taken for gone: nothing shows that it is so.
        numbers = [number_of(raw) for raw in batch.raws]
        covered = (batch.first_seq, max(numbers)) if numbers else None
        taken = store.ingest(
            probe.unique_id,
            batch.raws,
            log_id=log_id,
            covered=covered,
            anchors=anchors,
            received_ms=clock_ms(),
        )
        new += taken.new
        brought.update((number_of(raw), digest(raw)) for raw in batch.raws)
        anchors.clear()

    def stored_digest(first: int, last: int) -> bytes:
        return store.digest(probe.unique_id, first, last, log_id)

    pulled = probe.pull(commit, from_seq=from_seq, stored_digest=stored_digest, progress=progress)
    for anchor in anchors:
        store.anchor(probe.unique_id, anchor, log_id)
    if pulled.proved and brought:
        store.prove(probe.unique_id, log_id, brought, clock_ms())
    with store.write() as connection:
        findings.refresh(connection)
    proof_notes = _proof_notes(probe, pulled.proved)
    notes = (
        *probe.greeting.shortcomings(),
        *_key_notes(probe),
        *proof_notes,
        *clock_notes,
        *_unknown_notes(len(unknown)),
        *_unfit_notes(unfit),
    )
    return Pull(
        probe=probe.unique_id,
        records=pulled.records,
        new=new,
        last_seq=pulled.last_seq,
        acknowledged_seq=pulled.acknowledged_seq,
        log_id=probe.greeting.log_id,
        proved=pulled.proved,
        paired=probe.paired,
        may_change=probe.may_change,
        notes=notes,
        spent_s=time.monotonic() - started_s,
    )


def _is_unknown(raw: bytes) -> bool:
    """Whether a record's first two bytes, kind and layout, are none that this version decodes."""
    return raw[0] not in _KINDS or raw[1] != records.LAYOUT


def _unknown_notes(count: int) -> list[str]:
    some = f"{count} records are" if count > 1 else "1 record is"
    return [f"{some} of a kind or layout not known here, stored as it came."] if count else []


def _unfit_notes(numbers: list[int]) -> list[str]:
    """A word on records with values that no probe writes."""
    if not numbers:
        return []
    shown = ", ".join(map(str, numbers[:_NUMBERS_SHOWN])) + (
        " and more" if len(numbers) > _NUMBERS_SHOWN else ""
    )
    some = f"{len(numbers)} records hold" if len(numbers) > 1 else "1 record holds"
    return [f"{some} values out of range ({shown}): kept as they came, and used for nothing. Test the probe."]


def starting_seq(store: Store, probe: Client) -> int:
    """The number of the record to begin with.

    It is the first that the history lacks, if the probe still has the history's newest record of this log as it is
    stored. If the probe gave that record up, or has another one under its number, the pull begins at 1.
    """
    newest = _newest(store, probe.unique_id, probe.greet().log_id)
    if newest is None:
        return 1
    seq, raws = newest
    sent = [raw for batch in probe.batches(seq, seq) for raw in batch.raws]
    log_id = probe.greeting.log_id
    return min(store.stored_to(probe.unique_id, log_id=log_id), seq) + 1 if set(sent) & raws else 1


def _newest(store: Store, unique_id: str, log_id: int) -> tuple[int, set[bytes]] | None:
    """Number and contents of the highest record that the history has of a probe's log."""
    columns = tables.records.c
    mine = (columns.probe == unique_id, columns.log_id == log_id)
    with store.read() as connection:
        number = connection.scalar(select(func.max(columns.number)).where(*mine))
        if number is None:
            return None
        query = select(columns.raw).where(*mine, columns.number == number)
        return int(number), {bytes(raw) for raw in connection.execute(query).scalars()}


def _anchor(probe: Client) -> times.Anchor:
    """Anchor the boot; the probe logs it too where it may be changed by this bench."""
    anchor = _logged_anchor(probe) or probe.measure_anchor()
    return times.Anchor(anchor.boot, anchor.ticks_ms, anchor.host_ms, anchor.uncertainty_ms)


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


def _key_notes(probe: Client) -> list[str]:
    if probe.key_trouble is not None:
        return [f"Nothing was signed or acknowledged. {probe.key_trouble.what} {probe.key_trouble.next_step}"]
    if not probe.key_refused:
        return []
    return [
        "The probe no longer knows this bench's key, so it keeps its records: hold STEP while switching it on, and run "
        "`curbtick probes pair`."
    ]


def _proof_notes(probe: Client, proved: bool) -> list[str]:
    if proved or not probe.may_change:
        return []
    return [
        "The probe did not prove that it is the one this bench is paired with: its records are stored and not "
        "acknowledged. Pull again; if it stays so, pair it again (STEP held at power-up), or ask what is plugged in."
    ]


def _clock_notes(store: Store, anchor: times.Anchor) -> list[str]:
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
