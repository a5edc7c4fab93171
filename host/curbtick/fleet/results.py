"""Bumper results: what each made of the readings that it names."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, and_, func, or_, select, update

from curbtick.fleet import newest
from curbtick.fleet.readings import Reading
from curbtick.store import tables

Stands = tuple[str, tuple[str, ...]]

_SEQS = tuple(f"reading_seqs_{place}" for place in range(1, names.BUMPER_POSITIONS_MAX + 1))


@dataclass(frozen=True)
class Result:
    """A bumper result: which readings it names, by sequence number, and what it made of them."""

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
    found = row._mapping
    by_seq = {}
    for place in range(1, found["positions"] + 1):
        if found[f"reading_seqs_{place}"]:
            verdict = names.VERDICTS[found[f"verdicts_{place}"]]
            reasons = tuple(names.words_of(names.REASONS, found[f"reasons_{place}"]))
            by_seq[found[f"reading_seqs_{place}"]] = (verdict, reasons)
    result = names.BUMPER_RESULTS[found["result"]]
    return Result(result, found["probe_id"], found["seq"], found["sort_ms"], by_seq)


def of_vehicles(connection: Connection, keys: Iterable[int] | None) -> dict[int, list[Result]]:
    """By vehicle, in each probe's own order, the results that may name a reading that counts (newest.of_places)."""
    reading, made = tables.readings.c, tables.bumper_results
    since = (
        select(reading.vehicle_id, reading.bumper, func.min(reading.sort_ms).label("since_ms"))
        .where(reading.id.in_(newest.compared(keys)))
        .group_by(reading.vehicle_id, reading.bumper)
        .subquery()
    )
    same = and_(made.c.vehicle_id == since.c.vehicle_id, made.c.bumper == since.c.bumper)
    query = select(made).join(since, and_(same, made.c.sort_ms >= since.c.since_ms))
    found: dict[int, list[Result]] = defaultdict(list)
    for row in connection.execute(query.order_by(made.c.probe_id, made.c.seq)):
        found[row.vehicle_id].append(from_row(row))
    return found


def follow(connection: Connection, moved: Sequence[Reading]) -> None:
    """Hold the results that name any of these readings to belong to the vehicle that has all theirs, or to none."""
    made = tables.bumper_results.c
    for probe_id in {reading.probe_id for reading in moved}:
        seqs = {reading.seq for reading in moved if reading.probe_id == probe_id}
        named = or_(*(made[column].in_(seqs) for column in _SEQS))
        where = (made.probe_id == probe_id, made.seq > min(seqs), named)
        for row in connection.execute(select(tables.bumper_results).where(*where)).all():
            owner = _owner(connection, from_row(row))
            change = update(tables.bumper_results).where(made.id == row.id)
            connection.execute(change.values(vehicle_id=owner))


def _owner(connection: Connection, result: Result) -> int | None:
    reading = tables.readings.c
    where = (reading.probe_id == result.probe_id, reading.seq.in_(result.by_seq))
    owners = connection.scalars(select(reading.vehicle_id).where(*where).distinct()).all()
    return owners[0] if len(owners) == 1 else None
