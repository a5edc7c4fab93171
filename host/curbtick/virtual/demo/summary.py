"""What a demo day came to, beside the truth: the object of summary.json."""

from collections.abc import Mapping, Sequence
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, Table, select

from curbtick.fleet import readings
from curbtick.fleet.places import results
from curbtick.fleet.readings import Reading
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick.virtual.demo.checks import CheckSeen
from curbtick.virtual.demo.technician import Seen
from curbtick.virtual.panel import bar
from curbtick.yard.scenes.day import Day, Place

SeenAt = Mapping[tuple[Place, bool], Sequence[Seen]]


def summary(store: Store, day: Day, seen: SeenAt, checks: Sequence[CheckSeen], seed: int) -> dict[str, Any]:
    """Return seed, readings, bumpers, checks and differences, which names everything that is not as it must be.

    seen: what the technician saw at each place, before and after the repairs; checks: in the seal and hiss checks.
    """
    comparison = _Summary(store, day, seen)
    found_readings, found_bumpers = comparison.readings(), comparison.bumpers()
    found_checks = comparison.checks(checks)
    differences = [
        _words(row) for row in (*found_readings, *found_bumpers, *found_checks) if not row["agrees"]
    ]
    differences += comparison.missing(found_readings)
    return {
        "seed": seed,
        "readings": found_readings,
        "bumpers": found_bumpers,
        "checks": found_checks,
        "differences": differences,
        "agrees": not differences,
    }


def _words(row: Mapping[str, Any]) -> str:
    where = f"{row['vehicle']} {row.get('bumper') or row['scene']} {row.get('position', '')}".strip()
    got = row.get("verdict", row.get("result"))
    why = f" ({', '.join(row['reasons'])})" if row.get("reasons") else ""
    return f"{where}: {got}{why} instead of {row['truth']}, the bar said {row['shown']}"


_MARKS = {"seal": tables.seal_marks, "hiss": tables.hiss_marks}


def _marks(connection: Connection, table: Table) -> dict[str, Mapping[str, Any]]:
    """The last mark of each vehicle, by its name: a seal's section is judged when its reference is confirmed."""
    rows = connection.execute(select(table).order_by(table.c.sort_ms, table.c.id)).all()
    known = readings.names_of(connection, [row.vehicle_id for row in rows])
    return {known[row.vehicle_id]: dict(row._mapping) for row in rows}


class _Summary:
    def __init__(self, store: Store, day: Day, seen: SeenAt) -> None:
        self._store = store
        self._day = day
        self._seen = seen
        self._numbers = {plan.name: plan.number for plan in day.vehicles}
        with store.read() as connection:
            self._readings = list(readings.fetch(connection, readings.query()))
            self._objects = [readings.as_object(connection, reading) for reading in self._readings]
            columns = tables.bumper_results.c
            query = select(tables.bumper_results).order_by(columns.sort_ms, columns.id)
            self._results = connection.execute(query).all()
            self._marks = {check: _marks(connection, table) for check, table in _MARKS.items()}
        self._vehicles = {
            (reading.probe_id, reading.seq): row["vehicle"]
            for reading, row in zip(self._readings, self._objects, strict=True)
        }
        self._last_boot = max((reading.boot for reading in self._readings), default=0)

    def readings(self) -> list[dict[str, Any]]:
        """Every reading with its truth and what the bar told."""
        outcomes_of = {key: list(outcomes) for key, outcomes in self._seen.items()}
        return [self._reading(r, o, outcomes_of) for r, o in zip(self._readings, self._objects, strict=True)]

    def _reading(
        self, reading: Reading, row: dict[str, Any], outcomes_of: dict[tuple[Place, bool], list[Seen]]
    ) -> dict[str, Any]:
        place = Place(self._numbers[row["vehicle"]], row["bumper"], row["position"])
        repaired = reading.boot == self._last_boot
        expected = self._day.expected(place, repaired)
        outcomes = outcomes_of.get((place, repaired), [])
        shown = outcomes.pop(0).verdict if outcomes else None
        agrees = row["verdict"] == expected.verdict == shown
        if expected.reason is not None:
            agrees = agrees and expected.reason in row["reasons"]
        return {
            **row,
            "truth": expected.verdict,
            "truth_reason": expected.reason,
            "fault": expected.fault,
            "repaired": repaired,
            "shown": shown,
            "agrees": agrees,
        }

    def bumpers(self) -> list[dict[str, Any]]:
        """Every bumper result with its truth and what the bar told."""
        return [self._bumper(row) for row in self._results]

    def _bumper(self, row: Any) -> dict[str, Any]:
        stands = results.from_row(row)
        # A result belongs where the readings belong that it names.
        name = next(self._vehicles[row.probe_id, seq] for seq in stands.by_seq)
        bumper = names.BUMPERS[row.bumper]
        repaired = row.boot == self._last_boot
        expected = self._day.bumper_expected(self._numbers[name], bumper, repaired)
        verdicts = tuple(verdict for verdict, _ in stands.by_seq.values())
        shown = self._shown_result(self._numbers[name], row.bumper, row.positions, repaired)
        silent = stands.result == "not_transmitting"
        agrees = (stands.result, verdicts) == (expected.result, expected.verdicts)
        return {
            "vehicle": name,
            "bumper": bumper,
            "truth": expected.result,
            "result": stands.result,
            "truth_verdicts": list(expected.verdicts),
            "verdicts": list(verdicts),
            "repaired": repaired,
            "shown": shown,
            "agrees": agrees and shown == ("not_transmitting" if silent else list(verdicts)),
        }

    def _shown_result(
        self, number: int, bumper: int, positions: int, repaired: bool
    ) -> str | list[str | None] | None:
        """What the bar told of a bumper after its last reading."""
        places = [place for place, again in self._seen if again == repaired and place.vehicle == number]
        places = [place for place in places if place.bumper == names.BUMPERS[bumper]]
        if not places:
            return None
        last = self._seen[places[-1], repaired][-1]
        if "not_transmitting" in last.words:
            return "not_transmitting"
        numbers = bar.read_result(last.masks, bumper, positions)
        if numbers is None:
            return None
        return [None if number is None else names.VERDICTS[number] for number in numbers]

    def checks(self, seen: Sequence[CheckSeen]) -> list[dict[str, Any]]:
        """Every section of the seal and hiss checks with its truth and what the bar told."""
        return [self._check(one) for one in seen]

    def _check(self, seen: CheckSeen) -> dict[str, Any]:
        name = self._day.vehicle(seen.vehicle).name
        row = self._marks[seen.scene.check].get(name)
        verdicts = names.SEAL_VERDICTS if seen.scene.check == "seal" else names.HISS_VERDICTS
        verdict = None if row is None else verdicts[row["verdict"]]
        return {
            "check": seen.scene.check,
            "scene": seen.scene.name,
            "vehicle": name,
            "truth": seen.scene.verdict,
            "verdict": verdict,
            "reasons": [] if row is None else names.words_of(names.REASONS, row["reasons"]),
            "shown": seen.verdict,
            "agrees": verdict == seen.scene.verdict == seen.verdict,
        }

    def missing(self, found: Sequence[Mapping[str, Any]]) -> list[str]:
        """Places of the day without a reading, and bumpers without a result."""
        read = {(row["vehicle"], row["bumper"], row["position"]) for row in found}
        due = [(self._day.vehicle(p.vehicle).name, p.bumper, p.position) for p in self._day.places()]
        gone = [place for place in due if place not in read]
        return [f"{name} {bumper} {position}: no reading in the history" for name, bumper, position in gone]
