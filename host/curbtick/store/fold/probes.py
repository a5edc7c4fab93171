"""Probes in the cache: a row for each log, and what people call it."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, bindparam, select

from curbtick.store import keys, tables
from curbtick.store.database import server
from curbtick.store.journal import entries as journal
from curbtick.store.journal import order
from curbtick.store.journal.entries import values_of

_KEY = select(tables.probes.c.id).where(
    tables.probes.c.unique_id == bindparam("unique_id"), tables.probes.c.log_id == bindparam("log_id")
)


def find(connection: Connection, unique_id: str, log_id: int) -> int | None:
    """Key of a probe's log; None for one that is not known."""
    key: int | None = connection.scalar(_KEY, {"unique_id": unique_id, "log_id": log_id})
    return key


def ensure(connection: Connection, unique_id: str, log_id: int) -> int:
    """Key of a probe's log, which is entered where it is new."""
    key = find(connection, unique_id, log_id)
    if key is None:
        server.lock(connection, server.NEW_PROBES)
        key = find(connection, unique_id, log_id)
    if key is not None:
        return key
    key = _free_key(connection, keys.of_log(unique_id, log_id))
    row = {"id": key, "unique_id": unique_id, "log_id": log_id, "name": unique_id}
    connection.execute(tables.probes.insert().values(**row))
    _call(connection)
    return key


def _free_key(connection: Connection, wanted: int) -> int:
    """A key that no other log has; 31 bits are short enough to meet once in a great fleet."""
    key = wanted
    while connection.scalar(select(tables.probes.c.id).where(tables.probes.c.id == key)) is not None:
        key = key % ((1 << 31) - 1) + 1
    return key


def reading_key(connection: Connection, reading: Sequence[object]) -> int:
    """Key of a reading named by probe, log id and number, whether it is here yet or not."""
    probe, log_id, number = reading
    return keys.of_record(ensure(connection, str(probe), int(str(log_id))), int(str(number)))


def fold_described(connection: Connection, subjects: Sequence[str]) -> None:
    """Fold what people call probes, named by `p` and their unique id, and where they belong."""
    if subjects:
        _call(connection)


def _call(connection: Connection) -> None:
    """Give every log its name: what its probe is called, and where the probe has more logs than one the log's id."""
    rows = connection.execute(select(tables.probes)).all()
    logs: dict[str, list[int]] = defaultdict(list)
    for row in rows:
        logs[row.unique_id].append(row.log_id)
    said = _said(connection, logs)
    short: dict[str, set[str]] = defaultdict(set)
    for unique_id in logs:
        short[said[unique_id][0] or unique_id[-6:]].add(unique_id)
    for row in rows:
        called, depot = said[row.unique_id]
        name = called or row.unique_id[-6:]
        if len(short[name]) > 1:
            name = f"{name}.{row.unique_id}" if called else row.unique_id
        if len(logs[row.unique_id]) > 1:
            name += f".{row.log_id:08x}"
        if (name, depot) != (row.name, row.depot):
            change = tables.probes.update().where(tables.probes.c.id == row.id)
            connection.execute(change.values(name=name, depot=depot))


def _said(connection: Connection, unique_ids: Iterable[str]) -> dict[str, tuple[str | None, str | None]]:
    """Name and depot that were said last of each probe."""
    said: dict[str, tuple[str | None, str | None]] = dict.fromkeys(unique_ids, (None, None))
    for one in order.ordered(journal.standing(connection, [f"p{unique_id}" for unique_id in said])):
        values = values_of(one)
        name, depot = said[values["probe"]]
        said[values["probe"]] = (values["name"] or name, values["depot"] or depot)
    return said
