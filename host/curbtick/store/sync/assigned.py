"""Assignments made in a bench's own file: which readings were moved, and what was undone, in the central history.

An assignment is the same at both ends where it was made at the same moment by the same person for the same reason. A
reading that the central history holds elsewhere by now stays there: what was decided last at the server counts.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, RowMapping, select, update

from curbtick.store import tables
from curbtick.store.history import inserted_key
from curbtick.store.sync.work import Place, reading_there

Settle = Callable[[Connection, Sequence[int]], None]


class _Move(NamedTuple):
    """A reading of the central history, where it was held, and where it is to be held."""

    reading_id: int
    old: Place
    new: Place


def bring(own: Connection, central: Connection, vehicles: Mapping[int, int], settle: Settle) -> int:
    """Enter assignments and what was undone; returns how many were new. vehicles: key there by key in the file.

    settle: called with the readings that were moved, so that what hangs on them follows.
    """
    _bring_undone(own, central, vehicles, settle)
    new = 0
    for row in own.execute(select(tables.assignments).order_by(tables.assignments.c.id)).mappings():
        if _same(central, row) is None:
            new += 1
            _settled(central, _enter(central, row, _moves(own, central, row["id"], vehicles)), settle)
    return new


def _bring_undone(own: Connection, central: Connection, vehicles: Mapping[int, int], settle: Settle) -> None:
    """Undo what was undone in the file, newest first: each finds its readings where it had put them itself."""
    columns = tables.assignments.c
    undone = select(tables.assignments).where(columns.undone_ms.is_not(None)).order_by(columns.id.desc())
    for row in own.execute(undone).mappings():
        there = _same(central, row)
        if there is not None and there["undone_ms"] is None:
            moves = _moves(own, central, row["id"], vehicles)
            _settled(central, _undo(central, there["id"], row["undone_ms"], moves), settle)


def _settled(central: Connection, moved: Sequence[int], settle: Settle) -> None:
    if moved:
        settle(central, moved)


def _moves(own: Connection, central: Connection, key: int, vehicles: Mapping[int, int]) -> list[_Move]:
    query = select(tables.assigned).where(tables.assigned.c.assignment_id == key)
    moves = []
    for row in own.execute(query).mappings():
        there = reading_there(own, central, row["reading_id"])
        if there is not None:
            moves.append(_Move(there, _place(row, "old", vehicles), _place(row, "new", vehicles)))
    return moves


def _place(row: RowMapping, which: str, vehicles: Mapping[int, int]) -> Place:
    vehicle_id = vehicles.get(row[f"{which}_vehicle_id"])
    return vehicle_id, row[f"{which}_bumper"], row[f"{which}_position"]


def _same(central: Connection, row: RowMapping) -> RowMapping | None:
    columns = tables.assignments.c
    same = (columns[name].is_not_distinct_from(row[name]) for name in ("at_ms", "by", "why"))
    return central.execute(select(tables.assignments).where(*same).limit(1)).mappings().one_or_none()


def _enter(central: Connection, row: RowMapping, moves: Sequence[_Move]) -> list[int]:
    """Enter an assignment with its readings; returns those that were moved by it."""
    values = {name: value for name, value in row.items() if name != "id"}
    key = inserted_key(central.execute(tables.assignments.insert().values(**values)))
    for move in moves:
        names = ("vehicle_id", "bumper", "position")
        places = {f"old_{name}": value for name, value in zip(names, move.old, strict=True)}
        places |= {f"new_{name}": value for name, value in zip(names, move.new, strict=True)}
        ids = {"assignment_id": key, "reading_id": move.reading_id}
        central.execute(tables.assigned.insert().values(**ids, **places))
    if row["undone_ms"] is not None:
        return []
    return [move.reading_id for move in moves if _hold(central, move.reading_id, move.old, move.new)]


def _undo(central: Connection, key: int, undone_ms: int, moves: Sequence[_Move]) -> list[int]:
    change = update(tables.assignments).where(tables.assignments.c.id == key)
    central.execute(change.values(undone_ms=undone_ms))
    return [move.reading_id for move in moves if _hold(central, move.reading_id, move.new, move.old)]


def _hold(central: Connection, reading_id: int, from_: Place, to: Place) -> bool:
    """Move a reading, if it is still held where it is to be moved from: whether it was."""
    reading = tables.readings.c
    now = (reading.vehicle_id, reading.at_bumper, reading.at_position)
    here = (column.is_not_distinct_from(value) for column, value in zip(now, from_, strict=True))
    values = dict(zip(("vehicle_id", "at_bumper", "at_position"), to, strict=True))
    change = central.execute(update(tables.readings).where(reading.id == reading_id, *here).values(**values))
    return change.rowcount > 0
