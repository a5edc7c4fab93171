"""Bumper results: what each made of the readings that it names."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names, records
from sqlalchemy import Connection, Select, Subquery, bindparam, func, or_, select, update

from curbtick.fleet.readings import Reading
from curbtick.store import tables

Stands = tuple[str, tuple[str, ...]]

# So many readings are looked up at once; a database takes only so many parameters.
_AT_ONCE = 10_000
_NO_END = 1 << 62

_SEQS = tuple(f"reading_seqs_{place}" for place in range(1, names.BUMPER_POSITIONS_MAX + 1))


@dataclass(frozen=True)
class Result:
    """A bumper result.

    result: a word of `names.BUMPER_RESULTS`.
    by_seq: verdict and reasons that it gave to each reading that it names, by sequence number.
    """

    result: str
    probe_id: int
    seq: int
    sort_ms: int
    by_seq: dict[int, Stands]

    def names_reading(self, reading: Reading) -> bool:
        """Whether the result is made of this reading among others."""
        return self.probe_id == reading.probe_id and reading.seq in self.by_seq

    def is_before(self, reading: Reading) -> bool:
        """Whether a reading was taken after the result."""
        if self.probe_id == reading.probe_id:
            return self.seq < reading.seq
        return self.sort_ms < reading.sort_ms


def from_row(row: Any) -> Result:
    """A row of bumper_results."""
    fields = row._mapping
    by_seq = {}
    for place in range(1, fields["positions"] + 1):
        if fields[f"reading_seqs_{place}"]:
            verdict = names.VERDICTS[fields[f"verdicts_{place}"]]
            reasons = tuple(names.words_of(names.REASONS, fields[f"reasons_{place}"]))
            by_seq[fields[f"reading_seqs_{place}"]] = (verdict, reasons)
    result = names.BUMPER_RESULTS[fields["result"]]
    return Result(result, fields["probe_id"], fields["seq"], fields["sort_ms"], by_seq)


def of_vehicles(connection: Connection, counting: Sequence[Reading]) -> dict[int, list[Result]]:
    """By vehicle, in each probe's own order, the results that name any of the readings that count.

    The readings say whose a result is: one whose readings stand at two vehicles holds for both.
    """
    vehicle_of = {(one.probe_id, one.seq): one.vehicle_id for one in counting if one.vehicle_id is not None}
    by_vehicle: dict[int, list[Result]] = defaultdict(list)
    for one in _naming(connection, sorted(counting, key=lambda reading: (reading.probe_id, reading.seq))):
        named = ((one.probe_id, seq) for seq in one.by_seq)
        for vehicle_id in {vehicle_of[key] for key in named if key in vehicle_of}:
            by_vehicle[vehicle_id].append(one)
    return by_vehicle


def _naming(connection: Connection, counting: Sequence[Reading]) -> Iterator[Result]:
    """Each result once, in each probe's own order, that may name one of these readings, themselves in that order."""
    seen = (0, 0)
    for first in range(0, len(counting), _AT_ONCE):
        ids = [reading.id for reading in counting[first : first + _AT_ONCE]]
        for row in connection.execute(_SPANS_OF_RESULTS, {"ids": ids}):
            if (row.probe_id, row.seq) > seen:
                seen = (row.probe_id, row.seq)
                yield from_row(row)


def _of_boots() -> Subquery:
    """The first and the last of the readings with the keys `ids` in each boot."""
    reading = tables.readings.c
    first, last = func.min(reading.seq).label("first"), func.max(reading.seq).label("last")
    return (
        select(reading.probe_id, reading.boot, first, last)
        .where(reading.id.in_(bindparam("ids", expanding=True)))
        .group_by(reading.probe_id, reading.boot)
        .subquery()
    )


def _spans(boots: Subquery) -> Subquery:
    """With each boot's readings the last boot that may have made a result of them."""
    log = tables.log.c
    last_boot = (
        select(log.boot)
        .where(log.probe_id == boots.c.probe_id, log.seq <= boots.c.last + records.RESUME_RECORDS)
        .order_by(log.seq.desc())
        .limit(1)
        .correlate(boots)
        .scalar_subquery()
    )
    return select(boots, last_boot.label("last_boot")).subquery()


def _of_spans() -> Select[Any]:
    """The results between a boot's first reading and the end of the last boot that may name one of its readings."""
    span, result, later = _spans(_of_boots()), tables.bumper_results, tables.bumper_results.alias()
    end = (
        select(later.c.seq)
        .where(
            later.c.probe_id == span.c.probe_id, later.c.seq > span.c.last, later.c.boot > span.c.last_boot
        )
        .order_by(later.c.seq)
        .limit(1)
        .correlate(span)
        .scalar_subquery()
    )
    since = (result.c.probe_id == span.c.probe_id) & (result.c.seq > span.c.first)
    spans = (
        select(result).select_from(span).join(result, since & (result.c.seq < func.coalesce(end, _NO_END)))
    )
    return spans.order_by(result.c.probe_id, result.c.seq)


_SPANS_OF_RESULTS = _of_spans()


def follow(connection: Connection, moved: Sequence[Reading]) -> None:
    """Hold the results that name any of these readings to belong to the vehicle that has all theirs, or to none.

    Of which readings it holds does not depend on that (of_vehicles).
    """
    columns = tables.bumper_results.c
    for probe_id in {reading.probe_id for reading in moved}:
        seqs = {reading.seq for reading in moved if reading.probe_id == probe_id}
        named = or_(*(columns[column].in_(seqs) for column in _SEQS))
        where = (columns.probe_id == probe_id, columns.seq > min(seqs), named)
        for row in connection.execute(select(tables.bumper_results).where(*where)).all():
            owner = _owner(connection, from_row(row))
            change = update(tables.bumper_results).where(columns.id == row.id)
            connection.execute(change.values(vehicle_id=owner))


def _owner(connection: Connection, result: Result) -> int | None:
    reading = tables.readings.c
    where = (reading.probe_id == result.probe_id, reading.seq.in_(result.by_seq))
    owners = connection.scalars(select(reading.vehicle_id).where(*where).distinct()).all()
    return owners[0] if len(owners) == 1 else None
