"""Work noted in a bench's own file: findings with their steps, swaps, limit sets, and what its probes took.

A finding is the same at both ends where it is about the same place and the times it stood open overlap, for a
place has at most one open finding at a time. Everything else is known again by what it says. So bringing it
again changes nothing more.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, and_, select, text, update

from curbtick.store import tables
from curbtick.store.history import inserted_key

Place = tuple[int | None, int, int]

# A finding goes this way; a withdrawn one was about a reading that belongs elsewhere, and stays where it was made.
_ORDER = ("open", "done", "proved")
_WITHDRAWN = "withdrawn"


@dataclass
class Work:
    """What was new in the central history.

    clashed_limits: revisions that mean another set there.
    withheld_limits: revisions that this login may not enter there.
    """

    assignments: int = 0
    findings: int = 0
    steps: int = 0
    swaps: int = 0
    limit_sets: int = 0
    clashed_limits: list[int] = field(default_factory=list)
    withheld_limits: list[int] = field(default_factory=list)


def bring(own: Connection, central: Connection, vehicles: Mapping[int, int]) -> Work:
    """Enter findings, steps, swaps and limit sets; vehicles: key in the central history by key in the file."""
    work = Work()
    standing = tables.findings.c.state.in_(_ORDER)
    for row in own.execute(select(tables.findings).where(standing).order_by(tables.findings.c.id)).mappings():
        _finding(own, central, dict(row), vehicles[row["vehicle_id"]], work)
    for row in own.execute(select(tables.swaps).order_by(tables.swaps.c.id)).mappings():
        _swap(central, {**row, "vehicle_id": vehicles[row["vehicle_id"]]}, work)
    _limit_sets(own, central, work)
    return work


def bring_sends(
    own: Connection, central: Connection, probe_of: Callable[[int], int], clashed_rounds: Collection[int] = ()
) -> None:
    """Enter which rounds and limit sets each probe took, before its readings look for their round.

    probe_of: gives a probe's key in the central history by its key in the file. clashed_rounds: numbers that
    mean other vehicles in the central history: that round never went to these probes.
    """
    for row in own.execute(select(tables.sends).order_by(tables.sends.c.id)).mappings():
        if row["what"] == "round" and row["number"] in clashed_rounds:
            continue
        _add_once(central, tables.sends, {**row, "probe_id": probe_of(row["probe_id"])})


def _add_once(central: Connection, table: Table, row: Mapping[str, Any]) -> bool:
    """Insert a row but for its key unless one that says the same is there: whether it was inserted."""
    values = {name: value for name, value in row.items() if name != "id"}
    same = (table.c[name].is_not_distinct_from(value) for name, value in values.items())
    if central.scalar(select(table.c.id).where(*same).limit(1)) is not None:
        return False
    central.execute(table.insert().values(**values))
    return True


def _finding(own: Connection, central: Connection, row: dict[str, Any], vehicle_id: int, work: Work) -> None:
    mine = {
        **row,
        "vehicle_id": vehicle_id,
        "opened_by_id": reading_there(own, central, row["opened_by_id"]),
        "proved_by_id": reading_there(own, central, row["proved_by_id"]),
    }
    del mine["id"]
    theirs = _same(central, mine)
    if theirs is None and _is_moved_away(central, mine):
        theirs = _withdrawn(central, mine)
        mine.update(state=_WITHDRAWN, proved_ms=None, proved_by_id=None)
    if theirs is None:
        key = inserted_key(central.execute(tables.findings.insert().values(**mine)))
        work.findings += 1
    else:
        key = theirs["id"]
        _go_on(central, theirs, mine)
    steps = select(tables.steps).where(tables.steps.c.finding_id == row["id"]).order_by(tables.steps.c.id)
    for step in own.execute(steps).mappings():
        work.steps += _add_once(central, tables.steps, {**step, "finding_id": key})


def _same(central: Connection, mine: Mapping[str, Any]) -> dict[str, Any] | None:
    """The central history's finding of the same place, open at the same time; the one opened nearest to it."""
    columns = tables.findings.c
    place = (columns[name] == mine[name] for name in ("vehicle_id", "bumper", "position"))
    standing = columns.state.in_(_ORDER)
    there = central.execute(select(tables.findings).where(*place, standing).order_by(columns.id)).mappings()
    alike = [dict(one) for one in there if _overlap(dict(one), mine)]
    return min(alike, key=lambda one: abs(one["opened_ms"] - mine["opened_ms"]), default=None)


def _is_moved_away(central: Connection, mine: Mapping[str, Any]) -> bool:
    """Whether the central history was told that the reading which opened a finding belongs elsewhere.

    A reading that it holds at no vehicle may never have been placed there: only a finding withdrawn tells.
    """
    place = _held(central, mine["opened_by_id"])
    if place is None:
        return False
    if place[0] is None:
        return _withdrawn(central, mine) is not None
    return not _is_of(mine, place)


def _held(central: Connection, reading_id: int | None) -> Place | None:
    """Where the central history holds a reading; None for one that it has not."""
    reading = tables.readings.c
    query = select(reading.vehicle_id, reading.at_bumper, reading.at_position)
    row = central.execute(query.where(reading.id == reading_id)).one_or_none()
    return None if row is None else (row.vehicle_id, row.at_bumper, row.at_position)


def _is_of(mine: Mapping[str, Any], place: Place) -> bool:
    """Whether a reading that is held there is one of a finding's place; position 0 is the whole bumper."""
    return place[:2] == (mine["vehicle_id"], mine["bumper"]) and mine["position"] in (0, place[2])


def _withdrawn(central: Connection, mine: Mapping[str, Any]) -> dict[str, Any] | None:
    """The finding that the central history withdrew at this place when it moved the reading that opened it."""
    columns = tables.findings.c
    same = (columns[name] == mine[name] for name in ("vehicle_id", "bumper", "position", "opened_by_id"))
    query = select(tables.findings).where(*same, columns.state == _WITHDRAWN).limit(1)
    row = central.execute(query).mappings().one_or_none()
    return None if row is None else dict(row)


def _overlap(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    return all(
        late["proved_ms"] is None or early["opened_ms"] <= late["proved_ms"]
        for early, late in ((one, other), (other, one))
    )


def _go_on(central: Connection, theirs: Mapping[str, Any], mine: Mapping[str, Any]) -> None:
    """What the file knows of a finding to be done or proved holds in the central history too."""
    if mine["state"] == _WITHDRAWN:
        return
    if _ORDER.index(mine["state"]) <= _ORDER.index(theirs["state"]):
        return
    proof = _held(central, mine["proved_by_id"])
    if proof is not None and not _is_of(mine, proof):
        # The server was told that the proof is another place's reading.
        return
    values = {name: mine[name] for name in ("state", "proved_ms", "proved_by_id")}
    central.execute(update(tables.findings).where(tables.findings.c.id == theirs["id"]).values(**values))


def reading_there(own: Connection, central: Connection, key: int | None) -> int | None:
    """Key in the central history of a reading of the file; None where there is none."""
    if key is None:
        return None
    reading, probe = tables.readings.c, tables.probes.c
    joined = tables.readings.join(tables.probes, probe.id == reading.probe_id)
    names = (probe.unique_id, probe.life, reading.seq, reading.boot)
    identity = own.execute(select(*names).select_from(joined).where(reading.id == key)).one_or_none()
    if identity is None:
        return None
    same = and_(*(name == value for name, value in zip(names, identity, strict=True)))
    there: int | None = central.scalar(select(reading.id).select_from(joined).where(same))
    return there


def _swap(central: Connection, row: dict[str, Any], work: Work) -> None:
    undone_ms = row.pop("undone_ms")
    work.swaps += _add_once(central, tables.swaps, row)
    if undone_ms is not None:
        columns = tables.swaps.c
        same = (columns[name].is_not_distinct_from(value) for name, value in row.items() if name != "id")
        change = update(tables.swaps).where(*same, columns.undone_ms.is_(None))
        central.execute(change.values(undone_ms=undone_ms))


def _limit_sets(own: Connection, central: Connection, work: Work) -> None:
    """A set keeps its revision, which readings and probes name: one that means another set there stays out."""
    columns = tables.limit_sets.c
    allowed = _may_add_limits(central)
    for entry in own.execute(select(tables.limit_sets).order_by(columns.revision)).mappings():
        row = dict(entry)
        theirs = central.scalar(select(columns.payload).where(columns.revision == row["revision"]))
        if theirs is not None:
            if bytes(theirs) != bytes(row["payload"]):
                work.clashed_limits.append(row["revision"])
        elif allowed:
            work.limit_sets += _add_once(central, tables.limit_sets, row)
        else:
            work.withheld_limits.append(row["revision"])


def _may_add_limits(central: Connection) -> bool:
    if central.dialect.name != "postgresql":
        return True
    return bool(central.scalar(text("SELECT has_table_privilege('limit_sets', 'INSERT')")))
