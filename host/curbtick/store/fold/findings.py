"""Findings of vehicles into the cache: those whose readings or entries are newer than what was folded.

As a rule the news come after everything that was folded, and the fold goes on from there: at a place with a finding
that is not proved from the reading that opened it, elsewhere from the news. Otherwise the vehicle is folded from its
first reading on. Both give the same.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, bindparam, delete, func, select, update

from curbtick.store import keys, tables
from curbtick.store.fold import worklist
from curbtick.store.fold.worklist import Event, Finding, Place, Step, Summed, Taken, WorkList

_AT_ONCE = 5000


def refresh(connection: Connection) -> None:
    """Fold every vehicle that is marked as stale."""
    columns = tables.stale.c
    rows = connection.execute(select(columns.id, columns.vehicle_id, columns.from_ms)).all()
    if not rows:
        return
    from_ms: dict[int, int] = {}
    for row in rows:
        from_ms[row.vehicle_id] = min(row.from_ms, from_ms.get(row.vehicle_id, row.from_ms))
    for vehicle_id, at_ms in sorted(from_ms.items()):
        _fold(connection, vehicle_id, at_ms)
    ids = [row.id for row in rows]
    for start in range(0, len(ids), 500):
        connection.execute(delete(tables.stale).where(columns.id.in_(ids[start : start + 500])))


def _fold(connection: Connection, vehicle_id: int, news_ms: int) -> None:
    folded = tables.folded.c
    to_ms = connection.scalar(select(folded.to_ms).where(folded.vehicle_id == vehicle_id))
    vehicle = tables.vehicles.c
    is_reference = connection.scalar(select(vehicle.is_reference).where(vehicle.id == vehicle_id))
    if is_reference is None or is_reference:
        _clear(connection, vehicle_id)
        return
    steps = _steps(connection, vehicle_id)
    from_ms: dict[Place, int] = {}
    rest_ms = 0
    if to_ms is not None and 0 <= to_ms < news_ms:
        rest_ms, from_ms = news_ms, _unproved_ms(connection, vehicle_id)
    else:
        _clear(connection, vehicle_id)
    events = _events(connection, vehicle_id, min([rest_ms, *from_ms.values()]))
    found = WorkList(steps, from_ms, rest_ms).fold(worklist.in_order(events))
    _write(connection, vehicle_id, found, from_ms)
    is_monotone = (to_ms is None or to_ms >= 0 or not rest_ms) and worklist.is_monotone(events)
    newest_ms = max([event.sort_ms for event in events], default=0)
    # Below 0: some log's own order is not that of time, so that news cannot be told from what was folded.
    mark_ms = max(newest_ms, to_ms or 0) if is_monotone else -1
    connection.execute(delete(tables.folded).where(folded.vehicle_id == vehicle_id))
    connection.execute(tables.folded.insert().values(vehicle_id=vehicle_id, to_ms=mark_ms))


def _clear(connection: Connection, vehicle_id: int) -> None:
    for table in (tables.findings, tables.folded):
        connection.execute(delete(table).where(table.c.vehicle_id == vehicle_id))
    mine = tables.steps.c.vehicle_id == vehicle_id
    connection.execute(update(tables.steps).where(mine).values(opened_by_id=None))


def _unproved_ms(connection: Connection, vehicle_id: int) -> dict[Place, int]:
    """When the finding of each place that has one to be proved was opened."""
    columns = tables.findings.c
    query = select(columns.bumper, columns.position, columns.opened_ms).where(
        columns.vehicle_id == vehicle_id, columns.state != worklist.PROVED
    )
    return {(row.bumper, row.position): row.opened_ms for row in connection.execute(query)}


def _steps(connection: Connection, vehicle_id: int) -> list[Step]:
    query = select(tables.steps).where(tables.steps.c.vehicle_id == vehicle_id)
    return [
        Step(row.id, (row.bumper, row.position), row.reading_id, row.step, row.at_ms, row.last_id)
        for row in connection.execute(query)
    ]


_READ = tables.readings.c
_TAKEN = (
    select(
        *(_READ.id, _READ.at_bumper, _READ.at_position, _READ.verdict, _READ.reasons, _READ.sort_ms),
        *(_READ.time_ms, _READ.superseded, tables.boots.c.not_before_ms, _READ.probe_id, _READ.boot),
    )
    .select_from(
        tables.readings.outerjoin(
            tables.boots,
            (tables.boots.c.probe_id == _READ.probe_id) & (tables.boots.c.boot == _READ.boot),
        )
    )
    .where(
        _READ.vehicle_id == bindparam("vehicle_id"),
        _READ.at_bumper == bindparam("bumper"),
        _READ.at_position == bindparam("position"),
        _READ.sort_ms >= bindparam("from_ms"),
    )
)


def _events(connection: Connection, vehicle_id: int, from_ms: int) -> list[Event]:
    """Readings of the places that the vehicle ever had, and the bumper results that name any of them."""
    taken: list[Taken] = []
    for bumper, position in _places(connection, vehicle_id):
        place = {"vehicle_id": vehicle_id, "bumper": bumper, "position": position, "from_ms": from_ms}
        taken += [_taken(row) for row in connection.execute(_TAKEN, place)]
    return [*taken, *_results(connection, {one.id for one in taken})]


def _taken(row: Any) -> Taken:
    earliest_ms = row.not_before_ms or 0 if row.time_ms is None else row.time_ms
    return Taken(
        row.id,
        (row.at_bumper, row.at_position),
        names.VERDICTS[row.verdict],
        row.reasons,
        row.sort_ms,
        earliest_ms,
        bool(row.superseded),
    )


def _places(connection: Connection, vehicle_id: int) -> list[Place]:
    columns = tables.bumpers.c
    query = select(columns.bumper, func.max(columns.positions)).where(columns.vehicle_id == vehicle_id)
    rows = connection.execute(query.group_by(columns.bumper)).all()
    return [(bumper, position) for bumper, most in rows for position in range(1, most + 1)]


def _results(connection: Connection, ids: set[int]) -> list[Summed]:
    """The bumper results that name any of these readings."""
    found: dict[int, Summed] = {}
    result, named = tables.bumper_results.c, tables.named.c
    query = select(tables.bumper_results).join(tables.named, named.result_id == result.id)
    ordered = sorted(ids)
    for start in range(0, len(ordered), _AT_ONCE):
        some = ordered[start : start + _AT_ONCE]
        for row in connection.execute(query.where(named.reading_id.in_(some))):
            if row.id not in found:
                found[row.id] = summed(row)
    return list(found.values())


def summed(row: Any) -> Summed:
    """A row of bumper_results."""
    fields = row._mapping
    by_reading = {}
    for place in range(1, fields["positions"] + 1):
        seq = fields[f"reading_seqs_{place}"]
        if seq:
            verdict = names.VERDICTS[fields[f"verdicts_{place}"]]
            by_reading[keys.of_record(fields["probe_id"], seq)] = (verdict, fields[f"reasons_{place}"])
    is_silent = names.BUMPER_RESULTS[fields["result"]] == worklist.SILENT
    return Summed(fields["id"], fields["sort_ms"], is_silent, by_reading)


def _write(
    connection: Connection, vehicle_id: int, found: Sequence[Finding], from_ms: Mapping[Place, int]
) -> None:
    """Put findings in the place of those that were folded again."""
    columns = tables.findings.c
    for (bumper, position), opened_ms in from_ms.items():
        place = (columns.vehicle_id == vehicle_id, columns.bumper == bumper, columns.position == position)
        connection.execute(delete(tables.findings).where(*place, columns.opened_ms >= opened_ms))
    rows = [_row(vehicle_id, finding) for finding in found]
    if rows:
        connection.execute(tables.findings.insert(), rows)
    for finding in found:
        ids = [step.id for step in finding.steps]
        if ids:
            mine = update(tables.steps).where(tables.steps.c.id.in_(ids))
            connection.execute(mine.values(opened_by_id=finding.opener.id))


def _row(vehicle_id: int, finding: Finding) -> dict[str, Any]:
    return {
        "vehicle_id": vehicle_id,
        "bumper": finding.place[0],
        "position": finding.place[1],
        "opened_by_id": finding.opener.id,
        "what": finding.what,
        "reasons": finding.reasons,
        "state": finding.state,
        "opened_ms": finding.opener.sort_ms,
        "proved_ms": None if finding.proof is None else finding.proof.sort_ms,
        "proved_by_id": None if finding.proof is None else finding.proof.id,
    }
