"""The whole cache made anew from the two immutable tables; and a history checked against itself."""

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, select

from curbtick.progress import Progress
from curbtick.store import decode, keys, tables
from curbtick.store.fold import apply, findings, ingest, probes, rivals
from curbtick.store.history import Store
from curbtick.store.journal.entries import from_row, is_whole

PORTION = 2000
# What says how far the work is, and locks: not derived from the history.
_NOT_COMPARED = frozenset((tables.stale.name, tables.folded.name, tables.locks.name))
_SHOWN = 5


def rebuild(store: Store, progress: Progress | None = None) -> None:
    """Make the cache anew, in one transaction: readers see the old one until the new one is whole."""
    with store.write() as connection:
        _fill(connection, progress)


def _fill(connection: Connection, progress: Progress | None = None) -> None:
    for table in reversed(tables.cache.sorted_tables):
        if table is not tables.locks:
            connection.execute(delete(table))
    for some in _portions(connection, tables.entries):
        apply.entries(connection, [from_row(row) for row in some])
    done = 0
    for some in _portions(connection, tables.records):
        for (unique_id, log_id), rows in _by_log(some).items():
            batch = [decode.lenient(row.number, bytes(row.raw)) for row in rows]
            key = probes.ensure(connection, unique_id, log_id)
            doubled = ingest.take_in(connection, key, batch)
            rivals.judge(connection, key, doubled)
        done += len(some)
        if progress:
            progress(done, done)
    findings.refresh(connection)


def _portions(connection: Connection, table: Table) -> Iterator[Sequence[Any]]:
    """Rows in the order of their names, so many at a time, the contents of one number never apart."""
    query = select(table).order_by(*table.primary_key)
    names = [column.name for column in table.primary_key][:-1]
    rows: list[Any] = []
    for row in connection.execute(query, execution_options={"yield_per": PORTION}):
        if len(rows) >= PORTION and any(getattr(rows[-1], name) != getattr(row, name) for name in names):
            yield rows
            rows = []
        rows.append(row)
    if rows:
        yield rows


def _by_log(rows: Sequence[Any]) -> dict[tuple[str, int], list[Any]]:
    logs: dict[tuple[str, int], list[Any]] = {}
    for row in rows:
        logs.setdefault((row.probe, row.log_id), []).append(row)
    return logs


def check(store: Store) -> list[str]:
    """What is wrong with a history, a sentence each: damaged rows, and a cache that differs from one made anew."""
    with store.read() as connection, tempfile.TemporaryDirectory(prefix="curbtick-check-") as folder:
        wrong = [*_damaged_records(connection), *_damaged_entries(connection)]
        with Store(Path(folder) / "anew.db") as anew:
            with anew.write() as there:
                for table in (tables.entries, tables.records):
                    for some in _portions(connection, table):
                        there.execute(table.insert(), [dict(row._mapping) for row in some])
                _fill(there)
            with anew.read() as there:
                return wrong + [
                    words for table in _compared() for words in _difference(connection, there, table)
                ]


def _compared() -> list[Table]:
    return [table for table in tables.cache.sorted_tables if table.name not in _NOT_COMPARED]


def _difference(connection: Connection, anew: Connection, table: Table) -> list[str]:
    query = select(table).order_by(*table.primary_key)
    ours, theirs = ({tuple(row) for row in one.execute(query)} for one in (connection, anew))
    if ours == theirs:
        return []
    odd = sorted(ours ^ theirs, key=repr)[:_SHOWN]
    return [
        f"{table.name}: {len(ours - theirs)} rows do not follow from the history and {len(theirs - ours)} are missing; "
        f"{'; '.join(map(repr, odd))}"
    ]


def _damaged_records(connection: Connection) -> Iterator[str]:
    for some in _portions(connection, tables.records):
        for row in some:
            raw = bytes(row.raw)
            if keys.digest(raw) != bytes(row.digest):
                yield f"Record {row.number} of probe {row.probe} is not what its digest says."
            elif decode.lenient(row.number, raw).kind == 0:
                yield f"Record {row.number} of probe {row.probe} is damaged: its checksum or number is wrong."


def _damaged_entries(connection: Connection) -> Iterator[str]:
    for some in _portions(connection, tables.entries):
        for row in some:
            entry = from_row(row)
            if not is_whole(entry):
                yield f"Entry {entry.number} of {entry.origin} is not what its digest says."
