"""Bumper results: what each made of the readings that it names."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, bindparam, select

from curbtick.fleet.readings import Reading
from curbtick.store import tables

Stands = tuple[str, tuple[str, ...]]

# So many readings are looked up at once; a database takes only so many parameters.
_AT_ONCE = 10_000


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
    """Each result that is made of any of these readings once, in each probe's own order."""
    rows: dict[int, Any] = {}
    ids = sorted(reading.id for reading in counting)
    for first in range(0, len(ids), _AT_ONCE):
        for row in connection.execute(_OF_READINGS, {"ids": ids[first : first + _AT_ONCE]}):
            rows[row.id] = row
    return (from_row(rows[key]) for key in sorted(rows))


_OF_READINGS = (
    select(tables.bumper_results)
    .join(tables.named, tables.named.c.result_id == tables.bumper_results.c.id)
    .where(tables.named.c.reading_id.in_(bindparam("ids", expanding=True)))
)
