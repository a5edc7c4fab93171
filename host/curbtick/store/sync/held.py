"""What a history holds of an origin or a log, as a digest for each interval of numbers."""

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, select, text

from curbtick.store import tables

INTERVAL = 1024
"""So many numbers share a digest; of an interval whose digests differ every name is compared."""

Name = Mapping[str, Any]


def groups(connection: Connection, table: Table) -> list[dict[str, Any]]:
    """The origins of the entries, or the logs of the records."""
    columns: list[ColumnElement[Any]] = [tables.entries.c.origin]
    if table is tables.records:
        columns = [tables.probes.c.unique_id.label("probe"), tables.probes.c.log_id]
    rows = connection.execute(select(*columns).distinct().order_by(*columns))
    return [dict(row._mapping) for row in rows]


def intervals(connection: Connection, table: Table, group: Name) -> dict[int, str]:
    """The digest of each interval of numbers, over the digests of all contents in it in order."""
    if connection.dialect.name == "postgresql":
        where = " AND ".join(f"{name} = :{name}" for name in group)
        query = (
            f"SELECT number / {INTERVAL} AS place, encode(sha256(string_agg(digest, ''::bytea "
            f"ORDER BY number, digest)), 'hex') AS digest FROM {table.name} WHERE {where} GROUP BY 1"
        )
        return {row.place: row.digest for row in connection.execute(text(query), dict(group))}
    columns = table.c
    query_all = select(columns.number, columns.digest).where(*_of(table, group))
    hashed: dict[int, Any] = {}
    for number, digest in connection.execute(query_all.order_by(columns.number, columns.digest)):
        place = number // INTERVAL
        if place not in hashed:
            hashed[place] = hashlib.sha256()
        hashed[place].update(digest)
    return {place: one.hexdigest() for place, one in hashed.items()}


def contents(connection: Connection, table: Table, group: Name, place: int) -> set[tuple[int, bytes]]:
    """Number and digest of every content in an interval."""
    columns = table.c
    within = columns.number.between(place * INTERVAL, (place + 1) * INTERVAL - 1)
    rows = connection.execute(select(columns.number, columns.digest).where(*_of(table, group), within))
    return {(number, bytes(digest)) for number, digest in rows}


def rows(connection: Connection, table: Table, group: Name, wanted: set[tuple[int, bytes]]) -> Sequence[Any]:
    """The rows of these contents, in order."""
    numbers = sorted({number for number, _ in wanted})
    if not numbers:
        return []
    columns = table.c
    query = select(table).where(*_of(table, group), columns.number.between(numbers[0], numbers[-1]))
    found = connection.execute(query.order_by(columns.number, columns.digest))
    return [row for row in found if (row.number, bytes(row.digest)) in wanted]


def _of(table: Table, group: Name) -> list[Any]:
    return [table.c[name] == value for name, value in group.items()]
