"""How each position stands now: its newest reading, with what the bumper result made of it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import Connection, Subquery, literal, select, union_all

from curbtick.fleet import readings
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.store import tables

# Worst first; a place that was never read stands between what needs work and what passes.
SEVERITY = ("dead", "weak", "retry", "unread", "pass")


@dataclass(frozen=True)
class Place:
    """A position of a bumper: its newest reading, and the verdict that stands (a bumper result may have
    changed it).
    """

    bumper: int
    position: int
    class_khz: int
    reading: Reading | None
    verdict: str
    reasons: tuple[str, ...]

    @property
    def level_db(self) -> float | None:
        """Level of the newest reading in dBFS, None where there is none."""
        return None if self.reading is None else self.reading.level_db


@dataclass(frozen=True)
class VehicleState:
    """A vehicle with its places in order and the newest result of each bumper, if there is one."""

    vehicle: Vehicle
    places: Sequence[Place]
    results: dict[int, str]

    @property
    def silent_bumpers(self) -> list[int]:
        """Bumpers whose newest result says that the system does not transmit."""
        return [number for number, result in self.results.items() if result == "not_transmitting"]

    @property
    def worst(self) -> str:
        """The worst that is known of the vehicle: a verdict, "unread" or "not_transmitting"."""
        if self.silent_bumpers:
            return "not_transmitting"
        found = [place.verdict for place in self.places]
        return next((verdict for verdict in SEVERITY if verdict in found), "unread")

    @property
    def last_ms(self) -> int | None:
        """When it was last read, None for never."""
        return max((p.reading.sort_ms for p in self.places if p.reading is not None), default=None)

    def count(self, verdict: str) -> int:
        """How many places stand at a verdict."""
        return sum(place.verdict == verdict for place in self.places)

    def at(self, bumper: int) -> list[Place]:
        """Places of one bumper, left to right."""
        return [place for place in self.places if place.bumper == bumper]


@dataclass(frozen=True)
class _Result:
    """The newest bumper result of a bumper: which readings it names and what it made of them."""

    result: str
    probe_id: int
    sort_ms: int
    by_seq: dict[int, tuple[str, tuple[str, ...]]]


def of_vehicles(connection: Connection, chosen: Sequence[Vehicle]) -> list[VehicleState]:
    """State of each vehicle, in the order given."""
    everything = len(chosen) > 50
    keys = None if everything else [vehicle.id for vehicle in chosen]
    newest = _newest_readings(connection, keys)
    results = _newest_results(connection, keys)
    return [_state(vehicle, newest, results) for vehicle in chosen]


def _state(
    vehicle: Vehicle,
    newest: dict[tuple[int | None, int, int], Reading],
    results: dict[tuple[int, int], _Result],
) -> VehicleState:
    places = []
    for bumper, position in vehicle.places:
        reading = newest.get((vehicle.id, bumper, position))
        verdict, reasons = _standing(reading, results.get((vehicle.id, bumper)))
        places.append(Place(bumper, position, vehicle.bumper(bumper).class_khz, reading, verdict, reasons))
    return VehicleState(vehicle, places, _results_in_force(vehicle, places, results))


def _standing(reading: Reading | None, result: _Result | None) -> tuple[str, tuple[str, ...]]:
    if reading is None:
        return "unread", ()
    if result is not None and result.probe_id == reading.probe_id and reading.seq in result.by_seq:
        return result.by_seq[reading.seq]
    return reading.verdict, tuple(reading.reasons)


def _results_in_force(
    vehicle: Vehicle, places: Sequence[Place], results: dict[tuple[int, int], _Result]
) -> dict[int, str]:
    """Bumper results, but for those that a newer reading on the same bumper has overtaken."""
    made = {}
    for bumper in range(len(names.BUMPERS)):
        result = results.get((vehicle.id, bumper))
        if result is None:
            continue
        times_ms = [p.reading.sort_ms for p in places if p.bumper == bumper and p.reading is not None]
        if max(times_ms, default=0) <= result.sort_ms:
            made[bumper] = result.result
    return made


def _places(keys: Iterable[int] | None) -> Subquery:
    """Every (vehicle_id, bumper, position) that any fitting of a bumper ever had."""
    positions = union_all(
        *(select(literal(number).label("position")) for number in range(1, names.BUMPER_POSITIONS_MAX + 1))
    ).subquery()
    fitted = tables.bumpers.c
    query = select(fitted.vehicle_id, fitted.bumper, positions.c.position).where(
        positions.c.position <= fitted.positions
    )
    if keys is not None:
        query = query.where(fitted.vehicle_id.in_(list(keys)))
    return query.distinct().subquery()


def _newest_readings(
    connection: Connection, keys: Iterable[int] | None
) -> dict[tuple[int | None, int, int], Reading]:
    """Newest reading of each place, one index look-up each, however long the history is."""
    place = _places(keys)
    inner = tables.readings.alias()
    newest = (
        select(inner.c.id)
        .where(inner.c.vehicle_id == place.c.vehicle_id, inner.c.at_bumper == place.c.bumper)
        .where(inner.c.at_position == place.c.position)
        .order_by(inner.c.sort_ms.desc(), inner.c.id.desc())
        .limit(1)
        .correlate(place)
        .scalar_subquery()
    )
    ids = select(newest.label("id")).select_from(place).subquery()
    query = readings.query(tables.readings.c.id.in_(select(ids.c.id)))
    return {reading.place: reading for reading in readings.fetch(connection, query)}


def _newest_results(connection: Connection, keys: Iterable[int] | None) -> dict[tuple[int, int], _Result]:
    fitted = tables.bumpers.c
    place = select(fitted.vehicle_id, fitted.bumper).distinct()
    if keys is not None:
        place = place.where(fitted.vehicle_id.in_(list(keys)))
    bumper = place.subquery()
    inner = tables.bumper_results.alias()
    newest = (
        select(inner.c.id)
        .where(inner.c.vehicle_id == bumper.c.vehicle_id, inner.c.bumper == bumper.c.bumper)
        .order_by(inner.c.sort_ms.desc(), inner.c.id.desc())
        .limit(1)
        .correlate(bumper)
        .scalar_subquery()
    )
    ids = select(newest.label("id")).select_from(bumper).subquery()
    rows = connection.execute(
        select(tables.bumper_results).where(tables.bumper_results.c.id.in_(select(ids.c.id)))
    )
    return {(row.vehicle_id, row.bumper): result_of(row) for row in rows}


def result_of(row: object) -> _Result:
    """A bumper result's row, its readings by their sequence numbers."""
    found = row._mapping  # type: ignore[attr-defined]
    by_seq = {}
    for position in range(1, found["positions"] + 1):
        verdict = names.VERDICTS[found[f"verdicts_{position}"]]
        reasons = tuple(names.words_of(names.REASONS, found[f"reasons_{position}"]))
        by_seq[found[f"reading_seqs_{position}"]] = (verdict, reasons)
    return _Result(names.BUMPER_RESULTS[found["result"]], found["probe_id"], found["sort_ms"], by_seq)
