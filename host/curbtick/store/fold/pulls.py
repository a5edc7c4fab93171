"""The fold of pulls: who pulled what and when, which numbers are gone from a probe, and anchors taken beside it."""

from collections.abc import Sequence

from sqlalchemy import Connection, bindparam, delete, select, text

from curbtick.store import runs, tables
from curbtick.store.fold import probes, rivals, times
from curbtick.store.journal.entries import Entry, values_of


def fold(connection: Connection, found: Sequence[Entry], _undone: set[str]) -> None:
    """Fold entries of kind `pulled`."""
    for one in found:
        values = values_of(one)
        key = probes.ensure(connection, values["probe"], values["log_id"])
        spans = [(first, last) for first, last in values["spans"]]
        _insert(connection, one, key, spans)
        runs.extend(connection, key, [(first, last) for first, last in values["covered"]])
        anchors = [times.Anchor(*row) for row in values["anchors"]]
        times.pulled(connection, key, spans, anchors)


def _insert(connection: Connection, one: Entry, key: int, spans: Sequence[runs.Run]) -> None:
    values = values_of(one)
    ensure_bench(connection, values["bench"])
    row = {
        "id": one.key,
        "probe_id": key,
        "bench": values["bench"],
        "at_ms": one.at_ms,
        "new_count": values["new"],
        "doubled_count": values["doubled"],
        "first_seq": min((first for first, _ in spans), default=None),
        "last_seq": max((last for _, last in spans), default=None),
    }
    connection.execute(delete(tables.pulls).where(tables.pulls.c.id == one.key))
    connection.execute(tables.pulls.insert().values(**row))


_BENCH = select(tables.benches.c.name).where(tables.benches.c.name == bindparam("name"))


def ensure_bench(connection: Connection, name: str) -> None:
    """Enter a bench that is new."""
    if connection.scalar(_BENCH, {"name": name}) is None:
        # Another bench's pull may enter it at the same time.
        connection.execute(
            text("INSERT INTO benches (name) VALUES (:name) ON CONFLICT DO NOTHING"), {"name": name}
        )


def fold_proofs(connection: Connection, found: Sequence[Entry], _undone: set[str]) -> None:
    """Fold entries of kind `records_proved`: the contents that they name count before others."""
    for one in found:
        values = values_of(one)
        key = probes.ensure(connection, values["probe"], values["log_id"])
        spans = [(first, last) for first, last in values["spans"]]
        connection.execute(delete(tables.proofs).where(tables.proofs.c.id == one.key))
        if spans:
            numbers = {
                "first_seq": min(first for first, _ in spans),
                "last_seq": max(last for _, last in spans),
            }
            name = {"origin": one.origin, "number": one.number}
            connection.execute(tables.proofs.insert().values(id=one.key, probe_id=key, **numbers, **name))
            rivals.judge(connection, key, rivals.doubled_in(connection, key, spans))
