"""Records into the history: decoded, matched to vehicles, refused when doubled, all in one transaction."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any, NamedTuple

from curbtick_wire import names, records
from sqlalchemy import Connection, Table, bindparam, select, update

from curbtick.errors import StoreError
from curbtick.store import given, runs, tables, times
from curbtick.store.decode import ROW_HEADER, Decoded

_IN_ROUND = frozenset((records.READING, records.BUMPER, records.SEAL, records.HISS))
_ANCHORED = names.EVENTS.index("anchored")
# Places in a decoded row: the round and the vehicle's number in it open every record that has them.
_READING = [column.name for column in tables.record_columns(records.READING)]
_TICKS, _ROUND = ROW_HEADER.index("ticks_ms"), len(ROW_HEADER)
_PLACE = _ROUND + 2
_BUMPER, _POSITION = _ROUND + _READING.index("bumper"), _ROUND + _READING.index("position")
_SUPERSEDES = _ROUND + _READING.index("supersedes_seq")


class Counted(NamedTuple):
    """What a batch brought: records that were new, and records that were stored before."""

    new: int
    doubled: int


def add(
    connection: Connection,
    probe_id: int,
    batch: Sequence[Decoded],
    now_ms: int,
    anchors: Sequence[times.Anchor] = (),
    *,
    from_probe: bool = False,
) -> Counted:
    """Store the records of a batch that are not stored yet, and anchors measured beside it.

    from_probe: the batch comes from the probe itself, not from another history. Raises StoreError if a stored
    record of the same number has other contents, or if the probe shows a record that it had lost before.
    """
    fresh = _not_stored(connection, probe_id, batch)
    if from_probe:
        _refuse_returned(connection, probe_id, fresh)
    all_anchors = (*_anchors(fresh), *anchors)
    if fresh or all_anchors:
        boots = times.settle(connection, probe_id, {r.boot for r in fresh}, all_anchors, now_ms)
    if fresh:
        _insert(connection, tables.log, _LOG, [(probe_id, *record[:4]) for record in fresh])
        _insert_decoded(connection, probe_id, fresh, boots)
        runs.extend(connection, probe_id, runs.of_numbers([r.seq for r in fresh]))
    return Counted(len(fresh), len(batch) - len(fresh))


def _not_stored(connection: Connection, probe_id: int, batch: Sequence[Decoded]) -> Sequence[Decoded]:
    stored = _stored_raw(connection, probe_id, batch)
    fresh = {record.seq: record for record in batch}
    if not stored and len(fresh) == len(batch):
        return batch
    for record in batch:
        if stored.get(record.seq, fresh[record.seq].raw) != record.raw:
            raise _contradiction(record)
    return [record for seq, record in fresh.items() if seq not in stored]


_STORED = select(tables.log.c.seq, tables.log.c.raw).where(
    tables.log.c.probe_id == bindparam("probe_id"),
    tables.log.c.seq.between(bindparam("low"), bindparam("high")),
)
_PLACES = (
    select(tables.rounds.c.number, tables.round_vehicles.c.place, tables.round_vehicles.c.vehicle_id)
    .join(tables.rounds, tables.rounds.c.id == tables.round_vehicles.c.round_id)
    .where(tables.rounds.c.number.in_(bindparam("numbers", expanding=True)))
)
_REPLACED = select(tables.readings.c.supersedes_seq).where(
    tables.readings.c.probe_id == bindparam("probe_id"),
    tables.readings.c.seq > bindparam("low"),
    tables.readings.c.supersedes_seq.between(bindparam("low"), bindparam("high")),
    tables.readings.c.round_id != 0,
)


def _stored_raw(connection: Connection, probe_id: int, batch: Sequence[Decoded]) -> dict[int, bytes]:
    if not batch:
        return {}
    seqs = [record.seq for record in batch]
    rows = connection.execute(_STORED, {"probe_id": probe_id, "low": min(seqs), "high": max(seqs)})
    return {row.seq: bytes(row.raw) for row in rows}


def _contradiction(record: Decoded) -> StoreError:
    return begun_afresh(
        f"The probe's record {record.seq} of boot {record.boot} differs from the stored one of that number."
    )


def begun_afresh(what: str) -> StoreError:
    """The error for a log that is not the one which this history has pulled before; what: how it shows."""
    return StoreError(
        what,
        "Nothing of this batch was stored, what was stored before is unchanged. The probe's log was "
        "started afresh, or two probes share an id.",
        "If the probe's storage was wiped on purpose, run `curbtick probes renew PROBE` and try again.",
    )


def _refuse_returned(connection: Connection, probe_id: int, fresh: Sequence[Decoded]) -> None:
    """Raise StoreError for a record of a number that the probe was known to have no record of any more."""
    if not fresh:
        return
    seqs = [record.seq for record in fresh]
    low, high = min(seqs), max(seqs)
    near = [run for run in runs.of(connection, probe_id) if run[0] <= high and run[1] >= low]
    for record in fresh if near else ():
        if any(first <= record.seq <= last for first, last in near):
            raise begun_afresh(
                f"The probe has a record {record.seq} of boot {record.boot}, and had none of that number before."
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
    rows = _rows(probe_id, batch, boots, *_vehicles(connection, probe_id, batch))
    for kind, kind_rows in rows.items():
        _insert(connection, tables.DECODED[kind], _COLUMNS[kind], kind_rows)
    _mark_superseded(connection, probe_id, rows[records.READING])


def _vehicles(
    connection: Connection, probe_id: int, batch: Sequence[Decoded]
) -> tuple[dict[tuple[int, ...], int], frozenset[int]]:
    """Key of a vehicle by (round, place in the round), of the batch's rounds that this history gave to the probe;
    and the numbers of those records that are of another bench's round of the same number.

    Another bench's history may have numbered a round of its own alike: readings of it belong to no vehicle yet.
    """
    numbers = {row[_ROUND] for _, _, kind, _, row in batch if row is not None and kind in _IN_ROUND} - {0}
    spans = given.spans(connection, probe_id, numbers, batch) if numbers else {}
    rows = connection.execute(_PLACES, {"numbers": list(spans)}) if spans else ()
    vehicles: dict[tuple[int, ...], int] = {(number, place): vehicle for number, place, vehicle in rows}
    return vehicles, _outside(batch, spans)


def _outside(batch: Sequence[Decoded], spans: dict[int, list[given.Span]]) -> frozenset[int]:
    """Numbers of the records that lie outside the spans of their round."""
    if not spans:
        return frozenset()
    rounds = ((seq, row[_ROUND]) for seq, _, kind, _, row in batch if row is not None and kind in _IN_ROUND)
    of_spans = ((seq, spans[number]) for seq, number in rounds if number in spans)
    return frozenset(seq for seq, ranges in of_spans if not given.is_within(seq, ranges))


def _rows(
    probe_id: int,
    batch: Sequence[Decoded],
    boots: dict[int, times.Boot],
    vehicles: dict[tuple[int, ...], int],
    loose: frozenset[int],
) -> dict[int, list[tuple[Any, ...]]]:
    """Rows by kind, in the order of _COLUMNS; a million pass here, so each is made in one go.

    loose: numbers of records that belong to no vehicle, whatever their round.
    """
    rows: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for seq, boot, kind, _, row in batch:
        if row is None:
            continue
        offset_ms, _, not_after_ms = boots[boot]
        time_ms = None if offset_ms is None else offset_ms + row[_TICKS]
        extra: tuple[Any, ...] = (probe_id, time_ms, not_after_ms if time_ms is None else time_ms)
        if kind in _IN_ROUND:
            vehicle = None if seq in loose else vehicles.get(row[_ROUND:_PLACE])
            placed = kind == records.READING
            extra += (vehicle, row[_BUMPER], row[_POSITION], 0) if placed else (vehicle,)
        rows[kind].append(row + extra)
    return rows


def _mark_superseded(connection: Connection, probe_id: int, rows: Sequence[tuple[Any, ...]]) -> None:
    """Mark what the new readings supersede, and those of them that stored ones do: records come in any order.

    Without a round the probe takes every vehicle for the same one: a reading of it supersedes nothing.
    """
    if not rows:
        return
    columns = tables.readings.c
    low, high = min(row[0] for row in rows), max(row[0] for row in rows)
    stored = connection.execute(_REPLACED, {"probe_id": probe_id, "low": low, "high": high}).scalars()
    replaced = sorted({row[_SUPERSEDES] for row in rows if row[_SUPERSEDES] and row[_ROUND]} | set(stored))
    for start in range(0, len(replaced), 500):
        some = replaced[start : start + 500]
        where = (columns.probe_id == probe_id, columns.seq.in_(some))
        connection.execute(update(tables.readings).where(*where).values(superseded=1))


_LOG = tuple(column.name for column in tables.log.columns)


def _columns_of(kind: int) -> tuple[str, ...]:
    """Columns of a decoded table in the order of its rows here: header, fields, then what the bench adds."""
    fields = tuple(column.name for column in tables.record_columns(kind))
    every = [column.name for column in tables.DECODED[kind].columns]
    added = tuple(every[every.index(fields[-1]) + 1 :])
    return (*ROW_HEADER, *fields, "probe_id", "time_ms", "sort_ms", *added)


_COLUMNS = {kind: _columns_of(kind) for kind in tables.DECODED}


def _insert(
    connection: Connection, table: Table, columns: Sequence[str], rows: list[tuple[Any, ...]]
) -> None:
    """Insert rows of values through the driver's own executemany; markers become null on the way.

    Compiling each row through the SQL layer would cost more than the database does.
    """
    mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    marks = ", ".join(_value_of(table.c[name].info.get("marker"), mark) for name in columns)
    connection.exec_driver_sql(f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({marks})", rows)


def _value_of(marker: int | None, mark: str) -> str:
    return mark if marker is None else f"NULLIF({mark}, {marker})"
