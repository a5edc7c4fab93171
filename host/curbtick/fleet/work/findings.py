"""The work list: what is wrong, the next step in the order a workshop would try it, and whether it is proved.

What opens, does and proves a finding is the fold's (`store/fold/worklist.py`).
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names
from sqlalchemy import ColumnElement, Connection, bindparam, literal_column, select

from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.work.plans import NOTE, Plan, Step, plan_of
from curbtick.store import keys, tables
from curbtick.store.fold import findings as fold
from curbtick.store.fold import worklist
from curbtick.store.history import write

OPEN, DONE, PROVED = worklist.OPEN, worklist.DONE, worklist.PROVED
WHOLE_BUMPER = "-bumper"
UNPROVED = (OPEN, DONE)


@dataclass(frozen=True)
class Noted:
    """Something done or noted on a finding."""

    step: str
    at_ms: int
    by: str | None
    note: str | None


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a vehicle.

    id: the reading that opened it, as a user names readings; of a whole bumper with WHOLE_BUMPER behind it.
    position: 0 for the whole bumper.
    what: "weak", "dead" or "not_transmitting".
    state: OPEN, DONE or PROVED.
    opened_by_id, proved_by_id: the readings that opened and proved it.
    steps: in the order of time.
    """

    id: str
    vehicle_id: int
    vehicle: str
    bumper: int
    position: int
    what: str
    reasons: tuple[str, ...]
    state: str
    opened_ms: int
    proved_ms: int | None
    opened_by_id: int
    proved_by_id: int | None
    steps: Sequence[Noted]

    @property
    def plan(self) -> Plan:
        """The steps to try, cheapest first."""
        return plan_of(self.what, self.reasons)

    @property
    def next_step(self) -> str | None:
        """Id of the first planned step that was not tried; None when the finding is proved."""
        if self.state not in UNPROVED:
            return None
        last = self.plan[-1].id
        if self.state == DONE:
            return last
        tried = {step.step for step in self.steps}
        return next((step.id for step in self.plan if step.id not in tried), last)

    @property
    def next_words(self) -> str:
        """The next step in words, empty when proved."""
        return "" if self.next_step is None else dict(self.plan)[self.next_step]

    @property
    def may_be_noted(self) -> tuple[Step, ...]:
        """The planned steps that a person can note: all but the reading, which a pull brings."""
        return self.plan[:-1]


def refresh(connection: Connection) -> None:
    """Open, reopen and prove findings by the readings and entries that are new. Doing it twice changes nothing more."""
    fold.refresh(connection)


def note(
    connection: Connection,
    finding_id: str,
    step: str,
    at_ms: int,
    by: str | None = None,
    text: str | None = None,
) -> None:
    """Note a step on a finding; a repairing step makes an open finding done. Raises InputError."""
    fold.refresh(connection)
    row = _named(connection, finding_id)
    if row is None:
        raise InputError(
            f"There is no finding {finding_id}.", "Nothing was noted.", "`curbtick work` lists them."
        )
    planned = plan_of(row.what, names.words_of(names.REASONS, row.reasons))[:-1]
    allowed = [one.id for one in (*planned, NOTE)]
    if step not in allowed:
        raise InputError(
            f"There is no step {step} for finding {finding_id}.",
            "Nothing was noted.",
            f"Its steps are {', '.join(allowed)}.",
        )
    write.note(connection, "step_done", _payload(connection, row, step, text), at_ms, by)
    fold.refresh(connection)


def _named(connection: Connection, finding_id: str) -> Any:
    """The row of a finding; None where there is none of that name."""
    ref = finding_id.removesuffix(WHOLE_BUMPER)
    probe, _, number = ref.rpartition("-")
    if not number.isdigit():
        return None
    columns = tables.findings.c
    keys_of = [
        keys.of_record(key, int(number)) for key in connection.execute(_LOGS, {"name": probe}).scalars()
    ]
    whole = columns.position == 0 if ref != finding_id else columns.position != 0
    query = select(tables.findings).where(columns.opened_by_id.in_(keys_of), whole)
    return connection.execute(query.order_by(columns.state == PROVED).limit(1)).one_or_none()


_LOGS = select(tables.probes.c.id).where(tables.probes.c.name == bindparam("name"))


def _payload(connection: Connection, row: Any, step: str, text: str | None) -> dict[str, Any]:
    columns = tables.readings.c
    here = [columns.vehicle_id == row.vehicle_id, columns.at_bumper == row.bumper]
    if row.position:
        here.append(columns.at_position == row.position)
    newest = select(columns.id).where(*here).order_by(columns.sort_ms.desc(), columns.id.desc()).limit(1)
    last = connection.scalar(newest)
    return {
        "finding": _name(connection, row.opened_by_id),
        "last": None if last is None else _name(connection, last),
        "vehicle": vehicles.ref_of(connection, row.vehicle_id),
        "bumper": row.bumper,
        "position": row.position,
        "step": step,
        "note": text,
    }


def _name(connection: Connection, reading_id: int) -> list[object]:
    probe = tables.probes.c
    query = select(probe.unique_id, probe.log_id).where(probe.id == keys.log_of(reading_id))
    row = connection.execute(query).one()
    return [row.unique_id, row.log_id, keys.number_of(reading_id)]


def load(
    connection: Connection,
    states: Sequence[str] = (OPEN, DONE),
    vehicle_id: int | None = None,
    since_ms: int | None = None,
) -> list[Finding]:
    """Findings in the given states, by vehicle and place; proved ones only since a time, if one is given."""
    columns = tables.findings.c
    query = (
        select(tables.findings, tables.vehicles.c.name.label("vehicle"), tables.probes.c.name.label("probe"))
        .join(tables.vehicles, tables.vehicles.c.id == columns.vehicle_id)
        .join(tables.probes, tables.probes.c.id == _log(columns.opened_by_id))
        .where(columns.state.in_(states), tables.vehicles.c.retired_ms.is_(None))
        .order_by(
            tables.vehicles.c.name, columns.vehicle_id, columns.bumper, columns.position, columns.opened_ms
        )
    )
    if vehicle_id is not None:
        query = query.where(columns.vehicle_id == vehicle_id)
    if since_ms is not None:
        query = query.where((columns.state != PROVED) | (columns.proved_ms >= since_ms))
    rows = connection.execute(query).all()
    steps = _steps(connection, {row.vehicle_id for row in rows})
    return [_finding(row, steps.get(_place(row), [])) for row in rows]


def _log(reading_id: ColumnElement[int]) -> ColumnElement[int]:
    """Key of a reading's log, in SQL."""
    return reading_id.op(">>")(literal_column(str(keys.BITS)))


def _place(row: Any) -> tuple[int, int, int, int]:
    return row.vehicle_id, row.bumper, row.position, row.opened_by_id


def _steps(
    connection: Connection, vehicle_ids: Collection[int]
) -> dict[tuple[int, int, int, int], list[Noted]]:
    columns = tables.steps.c
    by_finding: dict[tuple[int, int, int, int], list[Noted]] = {}
    wanted = sorted(vehicle_ids)
    for start in range(0, len(wanted), 500):
        query = select(tables.steps).where(
            columns.vehicle_id.in_(wanted[start : start + 500]), columns.opened_by_id.is_not(None)
        )
        for row in connection.execute(query.order_by(columns.at_ms, columns.id)):
            by_finding.setdefault(_place(row), []).append(Noted(row.step, row.at_ms, row.by, row.note))
    return by_finding


def _finding(row: Any, steps: Sequence[Noted]) -> Finding:
    ref = f"{row.probe}-{keys.number_of(row.opened_by_id)}"
    return Finding(
        id=ref if row.position else ref + WHOLE_BUMPER,
        vehicle_id=row.vehicle_id,
        vehicle=row.vehicle,
        bumper=row.bumper,
        position=row.position,
        what=row.what,
        reasons=tuple(names.words_of(names.REASONS, row.reasons)),
        state=row.state,
        opened_ms=row.opened_ms,
        proved_ms=row.proved_ms,
        opened_by_id=row.opened_by_id,
        proved_by_id=row.proved_by_id,
        steps=steps,
    )
