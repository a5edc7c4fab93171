"""A whole history from one database into another, keys and marks included, verified by digest.

Rows go table by table in the order of their keys, a portion to a transaction, so a copy that broke off goes on
behind the last row that arrived. Until the digests of all tables agree, the target is marked as unfilled and
no other command opens it.
"""

import hashlib
from collections.abc import Iterator
from typing import Any, NamedTuple

from sqlalchemy import Connection, Select, Table, func, literal, select, text, tuple_

from curbtick.errors import InputError, StoreError
from curbtick.progress import Progress
from curbtick.store import tables
from curbtick.store.database.engine import shown
from curbtick.store.history import Store
from curbtick.store.schema import COPYING

PORTION = 2000
_OWN_MARKS = ("schema_version", COPYING)
_WHOLE = [table for table in tables.metadata.sorted_tables if table is not tables.meta]


class Copied(NamedTuple):
    """What a copy brought.

    rows: rows of all tables.
    fresh: those that this run brought.
    digest: SHA-256 of both ends, in hex.
    """

    rows: int
    fresh: int
    digest: str


def copy(source: Store, target: Store, progress: Progress | None = None) -> Copied:
    """Copy everything into an empty history, or finish such a copy; both ends say the same digest then.

    The target must be opened with filling=True. Raises InputError for a target that holds something else,
    StoreError if the digests differ.
    """
    with source.read() as connection:
        _claim(target, _identity(connection))
        total = sum(_count(connection, table) for table in _WHOLE)
        rows_there = fresh = 0
        for table in _WHOLE:
            with target.read() as there:
                rows_there += _count(there, table)
            for portion in _portions(connection, target, table):
                with target.write() as there:
                    there.execute(table.insert(), portion)
                rows_there, fresh = rows_there + len(portion), fresh + len(portion)
                if progress:
                    progress(rows_there, total)
        return Copied(total, fresh, _finish(connection, source, target))


def digest(connection: Connection) -> str:
    """SHA-256 in hex over every row of every table, in the order of the keys; engines say the same."""
    hashed = hashlib.sha256()
    for table in _WHOLE:
        hashed.update(table.name.encode())
        query = select(table).order_by(*table.primary_key)
        for row in connection.execute(query, execution_options={"yield_per": PORTION}):
            hashed.update(repr(tuple(row)).encode())
    hashed.update(repr(_marks(connection)).encode())
    return hashed.hexdigest()


def _identity(connection: Connection) -> str:
    return dict(_marks(connection)).get("created_ms", "unknown")


def _marks(connection: Connection) -> list[tuple[str, str]]:
    rows = connection.execute(select(tables.meta).where(tables.meta.c.key.not_in(_OWN_MARKS)))
    return sorted((row.key, row.value) for row in rows)


def _claim(target: Store, identity: str) -> None:
    """Mark the target as being filled from this source, unless it holds anything else."""
    with target.write() as connection:
        columns = tables.meta.c
        copying = connection.scalar(select(columns.value).where(columns.key == COPYING))
        if copying == identity:
            return
        if copying is not None or any(_count(connection, table) for table in _WHOLE):
            raise InputError(
                f"{shown(target.url)} is not empty: it holds {'part of another' if copying else 'a'} history.",
                "Nothing was changed.",
                "Name an empty database or a new file; `curbtick sync` adds one bench's history to another.",
            )
        connection.execute(tables.meta.insert().values(key=COPYING, value=identity))


def _portions(source: Connection, target: Store, table: Table) -> Iterator[list[dict[str, Any]]]:
    """The rows that the target has not yet, in the order of the key."""
    with target.read() as there:
        last = there.execute(_keys(table)).one_or_none()
    query = select(table).order_by(*table.primary_key)
    if last is not None:
        last_key = [
            literal(value, column.type) for value, column in zip(last, table.primary_key, strict=True)
        ]
        query = query.where(tuple_(*table.primary_key) > tuple_(*last_key))
    rows = source.execute(query, execution_options={"yield_per": PORTION})
    for portion in rows.mappings().partitions():
        yield [dict(row) for row in portion]


def _keys(table: Table) -> Select[Any]:
    return select(*table.primary_key).order_by(*(column.desc() for column in table.primary_key)).limit(1)


def _count(connection: Connection, table: Table) -> int:
    return int(connection.scalar(select(func.count()).select_from(table)) or 0)


def _finish(source: Connection, from_: Store, target: Store) -> str:
    """Marks and counters follow the rows; then both digests must agree."""
    with target.write() as connection:
        columns = tables.meta.c
        connection.execute(tables.meta.delete().where(columns.key.not_in(_OWN_MARKS)))
        marks = [{"key": key, "value": value} for key, value in _marks(source)]
        if marks:
            connection.execute(tables.meta.insert(), marks)
        _continue_keys(connection)
        theirs, ours = digest(source), digest(connection)
        if theirs == ours:
            connection.execute(tables.meta.delete().where(columns.key == COPYING))
            return ours
    raise StoreError(
        f"The copy differs from {shown(from_.url)} (digests {ours[:12]} and {theirs[:12]}).",
        "The source is unchanged; the copy stays marked as unfilled and no command will use it.",
        "Something was changed in the source between two runs, or in the copy: begin again with an empty target "
        "while nobody pulls.",
    )


def _continue_keys(connection: Connection) -> None:
    """Let a server's key counters go on behind the rows that came with their keys."""
    if connection.dialect.name != "postgresql":
        return
    for table in _WHOLE:
        if "id" in table.c:
            name = table.name
            connection.execute(
                text(
                    f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), "
                    f"greatest((SELECT coalesce(max(id), 0) FROM {name}), 1), "
                    f"(SELECT count(*) > 0 FROM {name}))"
                )
            )
