"""Records into the history: decoded, matched to vehicles, refused when doubled, all in one transaction."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any, NamedTuple

from curbtick_wire import names, records
from sqlalchemy import Connection, Table, bindparam, select, update

from curbtick.errors import StoreError
from curbtick.store import runs, tables, times
from curbtick.store.decode import Decoded

_OF_VEHICLES = frozenset((records.BUMPER, records.SEAL, records.HISS))
_ANCHORED = names.EVENTS.index("anchored")
_READING = [column.name for column in tables.record_columns(records.READING)]
_BUMPER, _POSITION = _READING.index("bumper"), _READING.index("position")
_SUPERSEDES = _READING.index("supersedes_seq")


class Counted(NamedTuple):
    """What a batch brought: records that were new, and records that were stored before."""

    new: int
    doubled: int


def add(connection: Connection, probe_id: int, batch: Sequence[Decoded], now_ms: int) -> Counted:
    """Store the records of a batch that are not stored yet.

    Raises StoreError if a stored record of the same number has other contents.
    """
    fresh = _not_stored(connection, probe_id, batch)
    if fresh:
        boots = times.settle(connection, probe_id, {r.boot for r in fresh}, _anchors(fresh), now_ms)
        _insert(connection, tables.log, [(probe_id, r.seq, r.boot, r.kind, r.raw) for r in fresh])
        _insert_decoded(connection, probe_id, fresh, boots)
        runs.extend(connection, probe_id, runs.of_numbers([r.seq for r in fresh]))
    return Counted(len(fresh), len(batch) - len(fresh))


def _not_stored(connection: Connection, probe_id: int, batch: Sequence[Decoded]) -> list[Decoded]:
    stored = _stored_raw(connection, probe_id, batch)
    fresh: dict[int, Decoded] = {}
    for record in batch:
        seq = record.seq
        if seq in stored or seq in fresh:
            if (stored.get(seq) or fresh[seq].raw) != record.raw:
                raise _contradiction(record)
        else:
            fresh[seq] = record
    return list(fresh.values())


_STORED = select(tables.log.c.seq, tables.log.c.raw).where(
    tables.log.c.probe_id == bindparam("probe_id"),
    tables.log.c.seq.between(bindparam("low"), bindparam("high")),
)
_PLACES = (
    select(tables.round_vehicles.c.place, tables.round_vehicles.c.vehicle_id)
    .join(tables.rounds, tables.rounds.c.id == tables.round_vehicles.c.round_id)
    .where(tables.rounds.c.number == bindparam("number"))
)


def _stored_raw(connection: Connection, probe_id: int, batch: Sequence[Decoded]) -> dict[int, bytes]:
    if not batch:
        return {}
    seqs = [record.seq for record in batch]
    found = connection.execute(_STORED, {"probe_id": probe_id, "low": min(seqs), "high": max(seqs)})
    return {row[0]: bytes(row[1]) for row in found}


def _contradiction(record: Decoded) -> StoreError:
    return StoreError(
        f"The probe's record {record.seq} of boot {record.boot} differs from the stored one of that number.",
        "Nothing of this batch was stored, what was stored before is unchanged. The probe's log was "
        "started afresh, or two probes share an id.",
        "If the probe's storage was wiped on purpose, run `curbtick probes renew PROBE` and pull again.",
    )


def _anchors(batch: Sequence[Decoded]) -> list[times.Anchor]:
    """Anchors that the probe logged: value is the bench's time in seconds, extra its uncertainty in ms."""
    return [
        times.Anchor(r.boot, r.ticks_ms, r.values[1] * 1000, r.values[2])
        for r in batch
        if r.kind == records.EVENT and r.values is not None and r.values[0] == _ANCHORED
    ]


def _insert_decoded(
    connection: Connection, probe_id: int, batch: Sequence[Decoded], boots: dict[int, times.Boot]
) -> None:
    vehicle_of = _Vehicles(connection)
    rows: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for kind, seq, number, ticks_ms, values, _ in batch:
        if values is None:
            continue
        offset_ms, _, not_after_ms = boots[number]
        time_ms = None if offset_ms is None else offset_ms + ticks_ms
        sort_ms = not_after_ms if time_ms is None else time_ms
        extra: tuple[Any, ...] = ()
        if kind == records.READING:
            extra = (vehicle_of[values[0], values[1]], values[_BUMPER], values[_POSITION], 0)
        elif kind in _OF_VEHICLES:
            extra = (vehicle_of[values[0], values[1]],)
        rows[kind].append((probe_id, seq, number, ticks_ms, time_ms, sort_ms, *values, *extra))
    for kind, kind_rows in rows.items():
        _insert(connection, tables.DECODED[kind], kind_rows, skip_key=True)
    _mark_superseded(connection, probe_id, rows[records.READING])


def _mark_superseded(connection: Connection, probe_id: int, rows: Sequence[tuple[Any, ...]]) -> None:
    columns = tables.readings.c
    replaced = [row[6 + _SUPERSEDES] for row in rows if row[6 + _SUPERSEDES]]
    for start in range(0, len(replaced), 500):
        some = replaced[start : start + 500]
        where = (columns.probe_id == probe_id, columns.seq.in_(some))
        connection.execute(update(tables.readings).where(*where).values(superseded=1))


class _Vehicles(dict[tuple[int, int], int | None]):
    """Key of a vehicle by (round, place in the round), the first two fields of every record that has them."""

    def __init__(self, connection: Connection) -> None:
        super().__init__()
        self._connection = connection

    def __missing__(self, key: tuple[int, int]) -> int | None:
        number, _ = key
        if number:
            self.update(self._places(number))
        return self.setdefault(key, None)

    def _places(self, number: int) -> dict[tuple[int, int], int | None]:
        rows = self._connection.execute(_PLACES, {"number": number})
        return {(number, place): vehicle_id for place, vehicle_id in rows}


def _insert(
    connection: Connection, table: Table, rows: list[tuple[Any, ...]], skip_key: bool = False
) -> None:
    """Insert rows of values in column order through the driver's own executemany; markers become null on
    the way.

    Compiling each row through the SQL layer would cost more than the database does.
    """
    columns = list(table.columns)[1 if skip_key else 0 :]
    mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    marks = ", ".join(_value_of(column.info.get("marker"), mark) for column in columns)
    names_ = ", ".join(column.name for column in columns)
    connection.exec_driver_sql(f"INSERT INTO {table.name} ({names_}) VALUES ({marks})", rows)


def _value_of(marker: int | None, mark: str) -> str:
    return mark if marker is None else f"NULLIF({mark}, {marker})"
