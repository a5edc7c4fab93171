"""The work list: what is wrong, the next step in the order a workshop would try it, and whether it is
proved.

A finding opens with a WEAK or DEAD place, or with a bumper that does not transmit. It is done when a
repairing step is noted on it, and proved when a later reading passes; a later bad reading opens it again.
The order of the steps is common practice: cheapest first.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, select, update

from curbtick.errors import InputError
from curbtick.fleet import state, vehicles
from curbtick.fleet.state import Place, VehicleState
from curbtick.store import inserted_key, tables
from curbtick_wire import names

OPEN, DONE, PROVED = "open", "done", "proved"

SENSOR_STEPS = (
    ("clean", "Clean the sensor's face and read again"),
    ("inspect", "Inspect mounting, paint thickness, connector and corrosion"),
    ("swap", "Swap with a neighbour, read both: does the fault move?"),
    ("replace", "Replace the sensor, or repair its wiring if the fault stayed"),
    ("read_again", "Read again to prove the repair"),
)
SILENT_STEPS = (
    ("conditions", "Reverse gear in, ignition on, parking brake as the system needs it"),
    ("fuse", "Check the system's fuse and supply"),
    ("module", "Check the module and its connector"),
    (
        "fault_memory",
        "Read the vehicle's fault memory (one faulty sensor can switch all off); note the codes, clear them",
    ),
    ("read_again", "Read the whole bumper again"),
)
REPAIRS = frozenset(("clean", "replace", "repair", "conditions", "fuse", "module", "fault_memory"))
NOTE = "note"
STEP_WORDS = {
    **dict(SENSOR_STEPS),
    **dict(SILENT_STEPS),
    "repair": "Repair the wiring or connector",
    NOTE: "Note",
}


@dataclass(frozen=True)
class Step:
    """Something done or noted on a finding."""

    step: str
    at_ms: int
    by: str | None
    note: str | None


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a vehicle; position 0 means the whole bumper."""

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
    steps: Sequence[Step]

    @property
    def plan(self) -> tuple[tuple[str, str], ...]:
        return SILENT_STEPS if self.what == "not_transmitting" else SENSOR_STEPS

    @property
    def next_step(self) -> str | None:
        """Id of the first planned step that was not tried; None when the finding is proved."""
        if self.state == PROVED:
            return None
        if self.state == DONE:
            return "read_again"
        tried = {step.step for step in self.steps}
        return next((name for name, _ in self.plan if name not in tried), "read_again")

    @property
    def next_words(self) -> str:
        return "" if self.next_step is None else STEP_WORDS[self.next_step]


def refresh(connection: Connection, at_ms: int, vehicle_ids: Sequence[int] | None = None) -> None:
    """Open, reopen and prove findings by how every vehicle stands now. Doing it twice changes nothing more.
    """
    chosen = [v for v in vehicles.load(connection, vehicle_ids) if not v.is_reference]
    known = _unproved(connection)
    for standing in state.of_vehicles(connection, chosen):
        _refresh_vehicle(connection, standing, known, at_ms)


_Key = tuple[int, int, int]


def _unproved(connection: Connection) -> dict[_Key, tuple[int, str, int, int]]:
    columns = tables.findings.c
    query = select(tables.findings).where(columns.state != PROVED)
    made = {}
    for row in connection.execute(query):
        done_ms = _last_repair_ms(connection, row.id) or 0
        made[row.vehicle_id, row.bumper, row.position] = (row.id, row.state, row.opened_ms, done_ms)
    return made


def _last_repair_ms(connection: Connection, finding_id: int) -> int | None:
    columns = tables.steps.c
    return connection.scalar(
        select(columns.at_ms)
        .where(columns.finding_id == finding_id, columns.step.in_(REPAIRS))
        .order_by(columns.at_ms.desc())
        .limit(1)
    )


def _refresh_vehicle(
    connection: Connection, standing: VehicleState, known: dict[_Key, tuple[int, str, int, int]], at_ms: int
) -> None:
    silent = set(standing.silent_bumpers)
    for bumper in range(len(names.BUMPERS)):
        key = (standing.vehicle.id, bumper, 0)
        if bumper in silent and key not in known:
            _open(connection, key, "not_transmitting", (), at_ms, None)
        elif bumper not in silent and key in known:
            _prove_bumper(connection, known[key], standing, bumper)
    for place in standing.places:
        key = (standing.vehicle.id, place.bumper, place.position)
        if place.reading is None or place.bumper in silent:
            continue
        if place.verdict in ("weak", "dead"):
            _open_or_reopen(connection, key, place, known.get(key))
        elif place.verdict == "pass" and key in known and place.reading.sort_ms > known[key][2]:
            _set_state(connection, known[key][0], PROVED, place.reading.sort_ms, place.reading.id)


def _prove_bumper(
    connection: Connection, known: tuple[int, str, int, int], standing: VehicleState, bumper: int
) -> None:
    """A silent bumper is proved to transmit by any later PASS or WEAK on it."""
    heard = [
        place.reading
        for place in standing.at(bumper)
        if place.reading is not None
        and place.verdict in ("pass", "weak")
        and place.reading.sort_ms > known[2]
    ]
    if heard:
        _set_state(connection, known[0], PROVED, heard[0].sort_ms, heard[0].id)


def _open_or_reopen(
    connection: Connection, key: _Key, place: Place, known: tuple[int, str, int, int] | None
) -> None:
    reading = place.reading
    assert reading is not None
    if known is None:
        _open(connection, key, place.verdict, place.reasons, reading.sort_ms, reading.id)
        return
    finding_id, was, _, done_ms = known
    values: dict[str, object] = {
        "what": place.verdict,
        "reasons": names.mask_of(names.REASONS, place.reasons),
    }
    if was == DONE and reading.sort_ms > done_ms:
        values["state"] = OPEN
    connection.execute(update(tables.findings).where(tables.findings.c.id == finding_id).values(**values))


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


def _set_state(connection: Connection, finding_id: int, to: str, at_ms: int, reading_id: int) -> None:
    values = {"state": to, "proved_ms": at_ms, "proved_by_id": reading_id}
    connection.execute(update(tables.findings).where(tables.findings.c.id == finding_id).values(**values))


def note(
    connection: Connection,
    finding_id: int,
    step: str,
    at_ms: int,
    by: str | None = None,
    text: str | None = None,
) -> None:
    """Note a step on a finding; a repairing step makes an open finding done. Raises InputError."""
    if step not in STEP_WORDS:
        raise InputError(
            f"There is no step {step}.",
            "Nothing was noted.",
            f"The steps are {', '.join(sorted(STEP_WORDS))}.",
        )
    columns = tables.findings.c
    found = connection.scalar(select(columns.state).where(columns.id == finding_id))
    if found is None:
        raise InputError(
            f"There is no finding {finding_id}.", "Nothing was noted.", "`curbtick work` lists them."
        )
    row = {"finding_id": finding_id, "step": step, "at_ms": at_ms, "by": by, "note": text}
    inserted_key(connection.execute(tables.steps.insert().values(**row)))
    if found == OPEN and step in REPAIRS:
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
    noted = _steps(connection, [row.id for row in rows])
    return [_finding(row, noted.get(row.id, [])) for row in rows]


def _steps(connection: Connection, finding_ids: Sequence[int]) -> dict[int, list[Step]]:
    columns = tables.steps.c
    query = (
        select(tables.steps).where(columns.finding_id.in_(finding_ids)).order_by(columns.at_ms, columns.id)
    )
    made: dict[int, list[Step]] = {}
    for row in connection.execute(query):
        made.setdefault(row.finding_id, []).append(Step(row.step, row.at_ms, row.by, row.note))
    return made


def _finding(row: object, noted: Sequence[Step]) -> Finding:
    found = row._mapping  # type: ignore[attr-defined]
    return Finding(
        found["id"],
        found["vehicle_id"],
        found["vehicle"],
        found["bumper"],
        found["position"],
        found["what"],
        tuple(names.words_of(names.REASONS, found["reasons"])),
        found["state"],
        found["opened_ms"],
        found["proved_ms"],
        found["opened_by_id"],
        found["proved_by_id"],
        noted,
    )
