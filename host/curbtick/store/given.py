"""Which rounds of this history a probe walked, and from which record to which: a round's number alone does not tell.

Every bench numbers its own rounds, so two of them may give one probe different rounds of one number. A send notes
the highest record that the probe then had; the round's records lie above it. The probe logs every round that it
takes in: the first such event of the number above that record is this send's, and a second one ends it, for then
a round of that number came from elsewhere, or by a later send from here, which has a note of its own.
"""

import sys
from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

from curbtick_wire import names, records
from sqlalchemy import Connection, bindparam, select

from curbtick.store import tables
from curbtick.store.decode import ROW_HEADER, Decoded

RECEIVED = names.EVENTS.index("round_received")
_EVENT, _VALUE = len(ROW_HEADER), len(ROW_HEADER) + 1


class Span(NamedTuple):
    """The records above above_seq and below below_seq."""

    above_seq: int
    below_seq: int


_SENDS = select(tables.sends.c.number, tables.sends.c.above_seq).where(
    tables.sends.c.probe_id == bindparam("probe_id"),
    tables.sends.c.what == "round",
    tables.sends.c.number.in_(bindparam("numbers", expanding=True)),
)
_EVENTS = select(tables.events.c.value, tables.events.c.seq).where(
    tables.events.c.probe_id == bindparam("probe_id"),
    tables.events.c.seq > bindparam("above_seq"),
    tables.events.c.event == RECEIVED,
    tables.events.c.value.in_(bindparam("numbers", expanding=True)),
)


def spans(
    connection: Connection, probe_id: int, numbers: Collection[int], arriving: Sequence[Decoded]
) -> dict[int, list[Span]]:
    """The spans of a probe's log in which each of these numbers means a round of this history.

    arriving: records about to be stored. A number that was never sent to the probe from here has no entry.
    """
    sends = connection.execute(_SENDS, {"probe_id": probe_id, "numbers": list(numbers)}).all()
    if not sends:
        return {}
    lowest_seq = min(send.above_seq for send in sends)
    events = _received(connection, probe_id, {send.number for send in sends}, lowest_seq, arriving)
    by_number: dict[int, list[Span]] = {}
    for send in sends:
        later = sorted(seq for seq in events.get(send.number, ()) if seq > send.above_seq)
        end_seq = later[1] if len(later) > 1 else sys.maxsize
        by_number.setdefault(send.number, []).append(Span(send.above_seq, end_seq))
    return by_number


def _received(
    connection: Connection, probe_id: int, numbers: set[int], above_seq: int, arriving: Iterable[Decoded]
) -> dict[int, set[int]]:
    """Numbers of the events by which the probe took in each round, stored and arriving."""
    values = {"probe_id": probe_id, "above_seq": above_seq, "numbers": list(numbers)}
    by_number: dict[int, set[int]] = {}
    for event in connection.execute(_EVENTS, values):
        by_number.setdefault(event.value, set()).add(event.seq)
    for record in arriving:
        row = record.row
        if record.kind == records.EVENT and row is not None and row[_EVENT] == RECEIVED:
            by_number.setdefault(row[_VALUE], set()).add(record.seq)
    return by_number


def is_within(seq: int, ranges: Iterable[Span]) -> bool:
    """Whether a record lies in one of the spans."""
    return any(above < seq < below for above, below in ranges)
