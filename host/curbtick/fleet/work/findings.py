"""The work list: what is wrong, the next step in the order a workshop would try it, and whether it is
proved.

A finding opens with a WEAK or DEAD place, or with a bumper that does not transmit. It is done when a
repairing step is noted on it, and proved when a later reading passes; a later bad reading opens it again. Only a
reading that was surely taken after the one that opened it, and after the repair, proves anything. A finding whose
reading turns out to be another vehicle's is withdrawn, and one whose proof does is to be done again.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from curbtick_wire import names
from sqlalchemy import ColumnElement, Connection, func, select, update

from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.places.state import Place, VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.work.plans import NOTE, REPAIRS, Plan, Step, plan_of
from curbtick.store import tables
from curbtick.store.history import inserted_key

OPEN, DONE, PROVED, WITHDRAWN = "open", "done", "proved", "withdrawn"
UNPROVED = (OPEN, DONE)
# What shows that a bumper transmits.
_HEARD = ("pass", "weak")
_FAULTS = ("weak", "dead")


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

    position: 0 for the whole bumper.
    what: "weak", "dead" or "not_transmitting".
    state: OPEN, DONE, PROVED or WITHDRAWN.
    opened_by_id, proved_by_id: the readings that opened and proved it.
    steps: in the order of time.
    """

    id: int
    vehicle_id: int
    vehicle: str
    bumper: int
    position: int
    what: str
    reasons: tuple[str, ...]
    state: str
    opened_ms: int
    proved_ms: int | None
    opened_by_id: int | None
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


def refresh(connection: Connection, vehicle_ids: Sequence[int] | None = None) -> None:
    """Open, reopen and prove findings by how every vehicle stands now. Doing it twice changes nothing more."""
    chosen = [v for v in vehicles.load(connection, vehicle_ids) if not v.is_reference]
    unproved = _unproved(connection)
    for standing in state.of_vehicles(connection, chosen):
        _refresh_vehicle(connection, standing, unproved)


_Key = tuple[int, int, int]


class _Known(NamedTuple):
    """An unproved finding.

    repaired_ms: when the last repairing step was taken, 0 for none.
    opener: (probe, sequence number) of the reading that opened it.
    """

    id: int
    state: str
    repaired_ms: int
    opened_ms: int
    opener: tuple[int, int] | None

    def is_after(self, place: Place) -> bool:
        """Whether a place's reading was surely taken after the repair and after the reading that opened this."""
        reading = place.reading
        if reading is None or 0 < self.repaired_ms >= place.earliest_ms:
            return False
        if self.opener is not None and self.opener[0] == reading.probe_id:
            return reading.seq > self.opener[1]
        return place.earliest_ms > self.opened_ms


def _unproved(connection: Connection) -> dict[_Key, _Known]:
    finding, step = tables.findings.c, tables.steps.c
    repairs = step.finding_id == finding.id, step.step.in_(REPAIRS)
    repaired_ms = select(func.max(step.at_ms)).where(*repairs).scalar_subquery()
    opener = tables.readings.c
    query = (
        select(tables.findings, repaired_ms.label("repaired_ms"), opener.probe_id, opener.seq)
        .select_from(tables.findings.outerjoin(tables.readings, opener.id == finding.opened_by_id))
        .where(finding.state.in_(UNPROVED))
    )
    return {(row.vehicle_id, row.bumper, row.position): _known(row) for row in connection.execute(query)}


def _known(row: Any) -> _Known:
    opener = None if row.probe_id is None else (row.probe_id, row.seq)
    return _Known(row.id, row.state, row.repaired_ms or 0, row.opened_ms, opener)


def _refresh_vehicle(connection: Connection, standing: VehicleState, unproved: Mapping[_Key, _Known]) -> None:
    for bumper in range(len(names.BUMPERS)):
        finding = unproved.get((standing.vehicle.id, bumper, 0))
        _refresh_bumper(connection, standing, bumper, finding)
    for place in standing.places:
        # A bumper may be silent by a reading that came from another vehicle; what was found beside it stands.
        is_silent = place.bumper in standing.silent_bumpers and place.verdict not in _FAULTS
        if place.reading is not None and not is_silent:
            key = (standing.vehicle.id, place.bumper, place.position)
            _refresh_place(connection, key, place, unproved.get(key))


def _refresh_bumper(
    connection: Connection, standing: VehicleState, bumper: int, finding: _Known | None
) -> None:
    """A silent bumper is a finding, opened again where it is silent after the repair too, and proved to transmit by
    any later PASS or WEAK on it.
    """
    readings = [(place, place.reading) for place in standing.at(bumper) if place.reading is not None]
    if bumper in standing.silent_bumpers:
        last = max((reading for _, reading in readings), key=lambda one: (one.sort_ms, one.seq))
        if finding is not None:
            _reopen(connection, finding, last.sort_ms)
        else:
            _open(connection, (standing.vehicle.id, bumper, 0), "not_transmitting", (), last.sort_ms, last.id)
    elif finding is not None:
        heard = [one for place, one in readings if one.verdict in _HEARD and finding.is_after(place)]
        if heard:
            _prove(connection, finding.id, heard[0])


def _refresh_place(connection: Connection, key: _Key, place: Place, finding: _Known | None) -> None:
    reading = place.reading
    assert reading is not None
    if place.verdict in _FAULTS:
        if finding is None:
            _open(connection, key, place.verdict, place.reasons, reading.sort_ms, reading.id)
        else:
            values = {"what": place.verdict, "reasons": names.mask_of(names.REASONS, place.reasons)}
            connection.execute(
                update(tables.findings).where(tables.findings.c.id == finding.id).values(**values)
            )
            _reopen(connection, finding, reading.sort_ms)
    elif place.verdict == "pass" and finding is not None and finding.is_after(place):
        _prove(connection, finding.id, reading)


def _reopen(connection: Connection, finding: _Known, read_ms: int) -> None:
    """A repair that a later reading belies leaves a finding open."""
    if finding.state == DONE and read_ms > finding.repaired_ms:
        connection.execute(
            update(tables.findings).where(tables.findings.c.id == finding.id).values(state=OPEN)
        )


def _open(
    connection: Connection, key: _Key, what: str, reasons: Sequence[str], at_ms: int, reading_id: int | None
) -> None:
    connection.execute(
        tables.findings.insert().values(
            vehicle_id=key[0],
            bumper=key[1],
            position=key[2],
            what=what,
            state=OPEN,
            opened_ms=at_ms,
            reasons=names.mask_of(names.REASONS, reasons),
            opened_by_id=reading_id,
        )
    )


def _prove(connection: Connection, finding_id: int, reading: Reading) -> None:
    values = {"state": PROVED, "proved_ms": reading.sort_ms, "proved_by_id": reading.id}
    connection.execute(update(tables.findings).where(tables.findings.c.id == finding_id).values(**values))


def follow(connection: Connection, moved_ids: Sequence[int]) -> None:
    """Let findings follow readings that were moved: a finding is withdrawn where its opener no longer belongs and back
    where it belongs again; one proved by a reading that belongs elsewhere is to be done again.
    """
    finding = tables.findings.c
    opened = finding.opened_by_id.in_(moved_ids)
    withdrawn = (finding.state.in_(UNPROVED), opened, ~_belongs(finding.opened_by_id))
    connection.execute(update(tables.findings).where(*withdrawn).values(state=WITHDRAWN))
    disproved = (
        (finding.state == PROVED) & finding.proved_by_id.in_(moved_ids) & ~_belongs(finding.proved_by_id)
    )
    back = (finding.state == WITHDRAWN) & opened & _belongs(finding.opened_by_id)
    query = (
        select(tables.findings).where(disproved | back).order_by(finding.opened_ms.desc(), finding.id.desc())
    )
    for row in connection.execute(query).all():
        _take_up(connection, row)


def _belongs(reading_id: ColumnElement[int]) -> ColumnElement[bool]:
    """Whether a reading that a finding names is at the finding's place."""
    finding, reading = tables.findings.c, tables.readings.c
    here = (reading.vehicle_id == finding.vehicle_id) & (reading.at_bumper == finding.bumper)
    same_place = finding.position.in_((0, reading.at_position))
    return select(reading.id).where(reading.id == reading_id, here, same_place).exists()


def _take_up(connection: Connection, row: Any) -> None:
    """Have a finding to be done again, unless its opener is another vehicle's or another one at its place is to be."""
    finding, step = tables.findings.c, tables.steps.c
    mine = finding.id == row.id
    place = [finding[name] == row._mapping[name] for name in ("vehicle_id", "bumper", "position")]
    opener_gone = finding.opened_by_id.is_not(None) & ~_belongs(finding.opened_by_id)
    repairs = select(step.id).where(step.finding_id == row.id, step.step.in_(REPAIRS)).limit(1)
    values: dict[str, object] = {"state": OPEN if connection.scalar(repairs) is None else DONE}
    if connection.scalar(select(finding.id).where(mine, opener_gone)) is not None:
        values["state"] = WITHDRAWN
    elif (
        connection.scalar(select(finding.id).where(*place, finding.state.in_(UNPROVED)).limit(1)) is not None
    ):
        return
    values |= {"proved_ms": None, "proved_by_id": None}
    connection.execute(update(tables.findings).where(mine).values(**values))


def note(
    connection: Connection,
    finding_id: int,
    step: str,
    at_ms: int,
    by: str | None = None,
    text: str | None = None,
) -> None:
    """Note a step on a finding; a repairing step makes an open finding done. Raises InputError."""
    columns = tables.findings.c
    found = connection.execute(select(tables.findings).where(columns.id == finding_id)).one_or_none()
    if found is None:
        raise InputError(
            f"There is no finding {finding_id}.", "Nothing was noted.", "`curbtick work` lists them."
        )
    planned = plan_of(found.what, names.words_of(names.REASONS, found.reasons))[:-1]
    allowed = [one.id for one in (*planned, NOTE)]
    if step not in allowed:
        raise InputError(
            f"There is no step {step} for finding {finding_id}.",
            "Nothing was noted.",
            f"Its steps are {', '.join(allowed)}.",
        )
    row = {"finding_id": finding_id, "step": step, "at_ms": at_ms, "by": by, "note": text}
    inserted_key(connection.execute(tables.steps.insert().values(**row)))
    if found.state == OPEN and step in REPAIRS:
        connection.execute(update(tables.findings).where(columns.id == finding_id).values(state=DONE))


def load(
    connection: Connection,
    states: Sequence[str] = (OPEN, DONE),
    vehicle_id: int | None = None,
    since_ms: int | None = None,
) -> list[Finding]:
    """Findings in the given states, by vehicle and place; proved ones only since a time, if one is given."""
    columns = tables.findings.c
    query = (
        select(tables.findings, tables.vehicles.c.name.label("vehicle"))
        .join(tables.vehicles, tables.vehicles.c.id == columns.vehicle_id)
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
    steps = _steps(connection, [row.id for row in rows])
    return [_finding(row, steps.get(row.id, [])) for row in rows]


def _steps(connection: Connection, finding_ids: Sequence[int]) -> dict[int, list[Noted]]:
    columns = tables.steps.c
    query = (
        select(tables.steps).where(columns.finding_id.in_(finding_ids)).order_by(columns.at_ms, columns.id)
    )
    by_finding: dict[int, list[Noted]] = {}
    for row in connection.execute(query):
        by_finding.setdefault(row.finding_id, []).append(Noted(row.step, row.at_ms, row.by, row.note))
    return by_finding


def _finding(row: Any, steps: Sequence[Noted]) -> Finding:
    return Finding(
        id=row.id,
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
