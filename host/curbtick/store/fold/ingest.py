"""Records into the history: each content once, then decoded, dated and matched to vehicles."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from itertools import groupby
from operator import attrgetter
from typing import Any, NamedTuple

from curbtick_wire import names, records
from sqlalchemy import Connection, bindparam, func, select

from curbtick.store import keys, runs, tables
from curbtick.store.decode import ROW_HEADER, Decoded
from curbtick.store.fold import placing, stale, times
from curbtick.store.fold.rows import insert_rows

_ANCHORED = names.EVENTS.index("anchored")
# Places in a decoded row: the round and the vehicle's number in it open every record that has them.
_READING = [column.name for column in tables.record_columns(records.READING)]
_TICKS, _ROUND = ROW_HEADER.index("ticks_ms"), len(ROW_HEADER)
_PLACE = _ROUND + 2
_BUMPER, _POSITION = _ROUND + _READING.index("bumper"), _ROUND + _READING.index("position")
_SUPERSEDES = _ROUND + _READING.index("supersedes_seq")
_RESULT = [column.name for column in tables.record_columns(records.BUMPER)]
_FIRST_SEQ = _ROUND + _RESULT.index("reading_seqs_1")
_SEQS = slice(_FIRST_SEQ, _FIRST_SEQ + names.BUMPER_POSITIONS_MAX)


class Fresh(NamedTuple):
    """What of a batch is not stored yet.

    records: with their digests. doubled: how many were stored before. stored: numbers within the batch's range that
    the history has, whatever their contents.
    """

    records: Sequence[tuple[Decoded, bytes]]
    doubled: int
    stored: Collection[int]


def fresh_of(connection: Connection, unique_id: str, log_id: int, batch: Sequence[Decoded]) -> Fresh:
    """The contents of a batch that the history lacks, each once."""
    stored = _stored(connection, unique_id, log_id, batch)
    digest = keys.digest
    named = {(record.seq, digest(record.raw)): record for record in batch}
    fresh = {name: record for name, record in named.items() if name not in stored}
    records = [(record, name[1]) for name, record in fresh.items()]
    return Fresh(records, len(batch) - len(fresh), {number for number, _ in stored})


_STORED = select(tables.records.c.number, tables.records.c.digest).where(
    tables.records.c.probe == bindparam("probe"),
    tables.records.c.log_id == bindparam("log_id"),
    tables.records.c.number.between(bindparam("low"), bindparam("high")),
)


def _stored(
    connection: Connection, unique_id: str, log_id: int, batch: Sequence[Decoded]
) -> set[tuple[int, bytes]]:
    if not batch:
        return set()
    seqs = [record.seq for record in batch]
    values = {"probe": unique_id, "log_id": log_id, "low": min(seqs), "high": max(seqs)}
    return {(number, bytes(digest)) for number, digest in connection.execute(_STORED, values)}


def add(connection: Connection, key: int, unique_id: str, log_id: int, fresh: Fresh) -> list[int]:
    """Store records and take them in; returns the numbers that have more contents than one (`fold/rivals.py`)."""
    if not fresh.records:
        return []
    rows = [(unique_id, log_id, record.seq, digest, record.raw) for record, digest in fresh.records]
    insert_rows(connection, tables.records, _RECORD, rows)
    return take_in(connection, key, [record for record, _ in fresh.records], fresh.stored)


def take_in(
    connection: Connection, key: int, batch: Sequence[Decoded], known: Collection[int] = ()
) -> list[int]:
    """Date and decode records that are stored and new in the cache; returns the numbers with more than one content.

    batch: different contents. known: numbers that the cache has already.
    """
    numbers = {record.seq for record in batch}
    rivals = _rivals(batch, numbers, known)
    is_late = min(numbers) <= _last(connection, key)
    runs.extend(connection, key, runs.of_numbers(sorted(numbers)))
    boots = times.settle(connection, key, spans_of(batch), _anchors(batch))
    doubled = set(rivals)
    alone = [record for record in batch if record.seq not in doubled] if rivals else batch
    _decoded(connection, key, alone, boots, is_late=is_late)
    if rivals:
        _double(connection, key, doubled)
    return rivals


def _rivals(batch: Sequence[Decoded], numbers: set[int], known: Collection[int]) -> list[int]:
    """Numbers of different contents that have more than one, among themselves or with what is known."""
    twice = numbers.intersection(known)
    if len(batch) > len(numbers):
        twice |= {number for number, count in Counter(record.seq for record in batch).items() if count > 1}
    return sorted(twice)


def _last(connection: Connection, key: int) -> int:
    """The highest number that is stored of a log, 0 for none."""
    boot = tables.boots.c
    return int(connection.scalar(select(func.max(boot.last_seq)).where(boot.probe_id == key)) or 0)


def _double(connection: Connection, key: int, numbers: set[int]) -> None:
    columns = tables.doubles.c
    known = set(connection.execute(select(columns.seq).where(columns.probe_id == key)).scalars())
    rows = [{"probe_id": key, "seq": seq} for seq in sorted(numbers - known)]
    if rows:
        connection.execute(tables.doubles.insert(), rows)


def spans_of(batch: Sequence[Decoded]) -> dict[int, times.Span]:
    """Of each boot of these records their first and last number."""
    numbers: dict[int, list[int]] = defaultdict(list)
    for boot, some in groupby(batch, key=attrgetter("boot")):
        numbers[boot] += [record.seq for record in some]
    return {boot: (min(seqs), max(seqs)) for boot, seqs in numbers.items()}


def _anchors(batch: Sequence[Decoded]) -> list[times.Anchor]:
    """Anchors that the probe logged: value is the bench's time in seconds, extra its uncertainty in ms."""
    return [
        times.Anchor(r.boot, r.ticks_ms, r.values[1] * 1000, r.values[2])
        for r in batch
        if r.kind == records.EVENT and r.values is not None and r.values[0] == _ANCHORED
    ]


def decoded(connection: Connection, key: int, batch: Sequence[Decoded]) -> None:
    """Decode stored records into their tables: dated, matched to vehicles, and marked where they were taken again."""
    _decoded(connection, key, batch, times.settle(connection, key, spans_of(batch)), is_late=True)


def _decoded(
    connection: Connection,
    key: int,
    batch: Sequence[Decoded],
    boots: Mapping[int, times.Boot],
    *,
    is_late: bool,
) -> None:
    """As `decoded`. boots: of the batch; is_late: whether the log has later records already."""
    if not batch:
        return
    rounds = {row[_ROUND] for _, _, kind, _, row in batch if row is not None and kind in tables.IN_ROUND}
    rows = _rows(key, batch, boots, placing.of_rounds(connection, rounds))
    for kind, kind_rows in rows.items():
        insert_rows(connection, tables.DECODED[kind], _COLUMNS[kind], kind_rows)
    _name(connection, key, rows[records.BUMPER])
    _follow(connection, key, rows[records.READING], is_late=is_late)


def _rows(
    key: int, batch: Sequence[Decoded], boots: Mapping[int, times.Boot], vehicles: dict[tuple[int, ...], int]
) -> dict[int, list[tuple[Any, ...]]]:
    """Rows by kind, in the order of _COLUMNS; a million pass here, so each is made in one go."""
    rows: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    first_id = keys.of_record(key, 0)
    for seq, boot, kind, _, row in batch:
        if row is None:
            continue
        offset_ms, _, not_after_ms = boots[boot]
        time_ms = None if offset_ms is None else offset_ms + row[_TICKS]
        extra: tuple[Any, ...] = (first_id + seq, key, time_ms, not_after_ms if time_ms is None else time_ms)
        if kind in tables.IN_ROUND:
            vehicle = vehicles.get(row[_ROUND:_PLACE])
            placed = kind == records.READING
            extra += (vehicle, row[_BUMPER], row[_POSITION], 0) if placed else (vehicle,)
        rows[kind].append(row + extra)
    return rows


def _name(connection: Connection, key: int, results: Sequence[tuple[Any, ...]]) -> None:
    """Note which readings bumper results are made of, whose vehicles are folded again."""
    pairs = [
        {"reading_id": keys.of_record(key, seq), "result_id": keys.of_record(key, row[0])}
        for row in results
        for seq in sorted(set(row[_SEQS]))
        if seq
    ]
    if not pairs:
        return
    connection.execute(tables.named.insert(), pairs)
    columns = tables.readings.c
    ids = sorted({pair["reading_id"] for pair in pairs})
    for start in range(0, len(ids), 500):
        named = select(columns.vehicle_id, func.min(columns.sort_ms)).where(
            columns.id.in_(ids[start : start + 500]), columns.vehicle_id.is_not(None)
        )
        found = connection.execute(named.group_by(columns.vehicle_id))
        stale.mark_from(connection, {row[0]: row[1] for row in found})


_AGAIN = select(tables.readings.c.supersedes_seq).where(
    tables.readings.c.probe_id == bindparam("probe_id"),
    tables.readings.c.supersedes_seq.between(bindparam("low"), bindparam("high")),
    tables.readings.c.supersedes_seq > 0,
)


def _follow(connection: Connection, key: int, rows: Sequence[tuple[Any, ...]], *, is_late: bool) -> None:
    """What follows from new readings: which supersede which, assignments that name them, whose findings are stale."""
    if not rows:
        return
    from_ms: dict[int, int] = {}
    for row in rows:
        vehicle, sort_ms = row[-4], row[-5]
        if vehicle is not None and sort_ms < from_ms.get(vehicle, times.NEVER_MS + 1):
            from_ms[vehicle] = sort_ms
    stale.mark_from(connection, dict.fromkeys(from_ms, 0) if is_late else from_ms)
    seqs = [row[0] for row in rows]
    low, high = min(seqs), max(seqs)
    again = {row[_SUPERSEDES] for row in rows} - {0}
    again.update(connection.execute(_AGAIN, {"probe_id": key, "low": low, "high": high}).scalars())
    assigned = placing.are_assigned(connection, keys.of_record(key, low), keys.of_record(key, high))
    if assigned:
        placing.readings(connection, assigned)
    if again:
        placing.superseded(connection, [keys.of_record(key, seq) for seq in sorted(again)])


_RECORD = tuple(column.name for column in tables.records.columns)


def _columns_of(kind: int) -> tuple[str, ...]:
    """Columns of a decoded table in the order of its rows here: header, fields, then what the bench adds."""
    fields = tuple(column.name for column in tables.record_columns(kind))
    every = [column.name for column in tables.DECODED[kind].columns]
    added = tuple(every[every.index(fields[-1]) + 1 :])
    return (*ROW_HEADER, *fields, "id", "probe_id", "time_ms", "sort_ms", *added)


_COLUMNS = {kind: _columns_of(kind) for kind in tables.DECODED}
