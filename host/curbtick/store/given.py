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


WHOLE_LOG = Span(-1, sys.maxsize)


_LIFE = tables.probes.alias()
_SENDS = (
    select(tables.sends.c.number, tables.sends.c.probe_id, tables.sends.c.above_seq)
    .join(tables.probes, tables.probes.c.id == tables.sends.c.probe_id)
    .join(_LIFE, _LIFE.c.unique_id == tables.probes.c.unique_id)
    .where(_LIFE.c.id == bindparam("probe_id"), tables.sends.c.what == "round")
    .where(tables.sends.c.number.in_(bindparam("numbers", expanding=True)))
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

    arriving: records about to be stored. A number that was never sent to the probe from here has no entry. A
    send without a note of the record, as older versions made them, stands for every record of every life.
    """
    found = connection.execute(_SENDS, {"probe_id": probe_id, "numbers": list(numbers)}).all()
    made = {row.number: [WHOLE_LOG] for row in found if row.above_seq is None}
    noted = [row for row in found if row.number not in made and row.probe_id == probe_id]
    if noted:
        lowest = min(row.above_seq for row in noted)
        came = _received(connection, probe_id, {row.number for row in noted}, lowest, arriving)
        for row in noted:
            later = sorted(seq for seq in came.get(row.number, ()) if seq > row.above_seq)
            end = later[1] if len(later) > 1 else sys.maxsize
            made.setdefault(row.number, []).append(Span(row.above_seq, end))
    return made


def _received(
    connection: Connection, probe_id: int, numbers: set[int], above_seq: int, arriving: Iterable[Decoded]
) -> dict[int, set[int]]:
    """Numbers of the events by which the probe took in each round, stored and arriving."""
    wanted = {"probe_id": probe_id, "above_seq": above_seq, "numbers": list(numbers)}
    made: dict[int, set[int]] = {}
    for number, seq in connection.execute(_EVENTS, wanted):
        made.setdefault(number, set()).add(seq)
    for record in arriving:
        row = record.row
        if record.kind == records.EVENT and row is not None and row[_EVENT] == RECEIVED:
            made.setdefault(row[_VALUE], set()).add(record.seq)
    return made


def is_within(seq: int, ranges: Iterable[Span]) -> bool:
    """Whether a record lies in one of the spans."""
    return any(above < seq < below for above, below in ranges)
