"""The folds of single facts: sends, limit sets, swaps, steps, assignments, benches; each its own row, or none."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Table, delete, select

from curbtick.store import keys, tables
from curbtick.store.fold import placing, probes, pulls, stale
from curbtick.store.journal import entries as journal
from curbtick.store.journal import order
from curbtick.store.journal.entries import Entry, values_of

Row = dict[str, Any]


def fold_single(connection: Connection, subjects: Sequence[str]) -> None:
    """Fold entries that are facts of their own, named by `e` and their reference."""
    wanted = {subject[1:] for subject in subjects}
    found = [one for one in journal.of_subjects(connection, subjects) if one.ref in wanted]
    undone = journal.undone_refs(connection, found)
    standing = {one.ref: one for one in found}
    _clear(connection, [keys.of_entry(bytes.fromhex(ref)) for ref in wanted])
    gone = [keys.of_entry(bytes.fromhex(ref)) for ref in wanted - standing.keys()]
    placing.forget(connection, gone)
    for table in (tables.pulls, tables.proofs):
        connection.execute(delete(table).where(table.c.id.in_(gone)))
    by_kind: dict[str, list[Entry]] = {}
    for one in found:
        by_kind.setdefault(one.kind, []).append(one)
    for kind, some in by_kind.items():
        _SINGLE.get(kind, _nothing)(connection, some, undone)


_Single = Callable[[Connection, Sequence[Entry], set[str]], None]


def _nothing(_connection: Connection, _found: Sequence[Entry], _undone: set[str]) -> None:
    """Entries of other subjects."""


def _clear(connection: Connection, ids: Sequence[int]) -> None:
    """Take away the rows of these entries; vehicles that lose a step or a swap are folded again."""
    for start in range(0, len(ids), 500):
        some = ids[start : start + 500]
        columns = tables.steps.c
        marked = connection.execute(select(columns.vehicle_id).where(columns.id.in_(some))).scalars()
        stale.mark(connection, marked.all())
        for table in (tables.sends, tables.swaps, tables.steps):
            connection.execute(delete(table).where(table.c.id.in_(some)))


def _insert(connection: Connection, table: Table, rows: Sequence[Row]) -> None:
    if rows:
        connection.execute(table.insert(), list(rows))


def _sent(what: str, number: str) -> _Single:
    def fold(connection: Connection, found: Sequence[Entry], undone: set[str]) -> None:
        rows = []
        for one in found:
            values = values_of(one)
            key = probes.ensure(connection, values["probe"], values["log_id"])
            if one.ref not in undone:
                row = {"id": one.key, "probe_id": key, "what": what, "number": values[number]}
                rows.append({**row, "at_ms": one.at_ms})
        _insert(connection, tables.sends, rows)

    return fold


def _swapped(connection: Connection, found: Sequence[Entry], undone: set[str]) -> None:
    rows = []
    for one in found:
        values = values_of(one)
        vehicle = placing.vehicle_of(connection, values["vehicle"])
        if vehicle is not None:
            a, b = values["positions"]
            place = {
                "vehicle_id": vehicle,
                "bumper": values["bumper"],
                "position_a": a,
                "position_b": b,
            }
            rows.append(
                {
                    "id": one.key,
                    **place,
                    "at_ms": one.at_ms,
                    "by": one.who,
                    "is_undone": one.ref in undone,
                    "digest": one.digest,
                }
            )
    _insert(connection, tables.swaps, rows)


def _step_done(connection: Connection, found: Sequence[Entry], undone: set[str]) -> None:
    rows = []
    for one in found:
        values = values_of(one)
        vehicle = placing.vehicle_of(connection, values["vehicle"])
        if vehicle is None or one.ref in undone:
            continue
        last = values["last"]
        rows.append(
            {
                "id": one.key,
                "vehicle_id": vehicle,
                "bumper": values["bumper"],
                "position": values["position"],
                "reading_id": probes.reading_key(connection, values["finding"]),
                "step": values["step"],
                "at_ms": one.at_ms,
                "by": one.who,
                "note": values["note"],
                "last_id": None if last is None else probes.reading_key(connection, last),
            }
        )
    _insert(connection, tables.steps, rows)
    stale.mark(connection, [row["vehicle_id"] for row in rows])


_SINGLE: Mapping[str, _Single] = {
    "round_sent": _sent("round", "number"),
    "limits_accepted": _sent("limits", "revision"),
    "swapped": _swapped,
    "step_done": _step_done,
    "readings_assigned": placing.fold_assignments,
    "pulled": pulls.fold,
    "records_proved": pulls.fold_proofs,
}


ALONE = frozenset(("pulled", "records_proved"))
"""Kinds that nothing undoes and that no other entry has a say in."""


def fold_alone(connection: Connection, found: Sequence[Entry]) -> None:
    """Fold new entries of the kinds ALONE."""
    for one in found:
        _SINGLE[one.kind](connection, [one], set())


def fold_limits(connection: Connection, subjects: Sequence[str]) -> None:
    """Fold limit sets, named by `l` and their revision: of several of one revision that of the lowest digest.

    Nothing undoes one: on a server only the steward says which limits there are, and anybody may note an undo.
    """
    for subject in subjects:
        columns = tables.limit_sets.c
        connection.execute(delete(tables.limit_sets).where(columns.revision == int(subject[1:])))
        one = first(journal.of_subjects(connection, [subject]))
        if one is not None:
            values = values_of(one)
            row = {"id": one.key, "revision": values["revision"], "made_ms": one.at_ms}
            more = {"origin": values["origin"], "payload": bytes.fromhex(values["payload"])}
            connection.execute(tables.limit_sets.insert().values(**row, **more))


def first(found: Sequence[Entry]) -> Entry | None:
    """Of entries that say the same number of different things, the one that counts."""
    return min(found, key=lambda one: one.digest, default=None)


def fold_benches(connection: Connection, subjects: Sequence[str]) -> None:
    """Fold benches, named by `b` and their name: the depot that was said last."""
    for subject in subjects:
        name = subject[1:]
        depot = None
        for one in order.ordered(journal.standing(connection, [subject])):
            depot = values_of(one)["depot"]
        pulls.ensure_bench(connection, name)
        change = tables.benches.update().where(tables.benches.c.name == name)
        connection.execute(change.values(depot=depot))
