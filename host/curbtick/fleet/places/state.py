"""How each position stands now: the reading that counts there, with what a bumper result made of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import Connection

from curbtick.fleet.places import newest, results
from curbtick.fleet.places.newest import SEVERITY, Newest
from curbtick.fleet.places.results import Result, Stands
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle


@dataclass(frozen=True)
class Place:
    """A position of a bumper.

    reading: the reading that counts, None for none.
    verdict, reasons: what stands; a bumper result may have changed what the reading said.
    earliest_ms: the earliest moment at which the reading can have been taken.
    """

    bumper: int
    position: int
    class_khz: int
    reading: Reading | None
    verdict: str
    reasons: tuple[str, ...]
    earliest_ms: int

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
        verdicts = [place.verdict for place in self.places]
        return next((verdict for verdict in SEVERITY if verdict in verdicts), "unread")

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


def of_vehicles(connection: Connection, chosen: Sequence[Vehicle]) -> list[VehicleState]:
    """State of each vehicle, in the order given."""
    everything = len(chosen) > 50
    keys = None if everything else [vehicle.id for vehicle in chosen]
    counting = newest.of_places(connection, keys)
    by_vehicle = results.of_vehicles(connection, [one.reading for one in counting.values()])
    return [_state(vehicle, counting, by_vehicle.get(vehicle.id, [])) for vehicle in chosen]


def _state(
    vehicle: Vehicle, counting: Mapping[newest.Place, Newest], bumper_results: Sequence[Result]
) -> VehicleState:
    stands = {(one.probe_id, seq): stands for one in bumper_results for seq, stands in one.by_seq.items()}
    places = []
    for bumper, position in vehicle.places:
        current = counting.get((vehicle.id, bumper, position))
        class_khz = vehicle.bumper(bumper).class_khz
        places.append(_place(bumper, position, class_khz, current, stands))
    in_force = {bumper: _in_force(bumper_results, places, bumper) for bumper in range(len(names.BUMPERS))}
    return VehicleState(vehicle, places, {bumper: one for bumper, one in in_force.items() if one})


def _place(
    bumper: int,
    position: int,
    class_khz: int,
    current: Newest | None,
    stands: Mapping[tuple[int, int], Stands],
) -> Place:
    if current is None:
        return Place(bumper, position, class_khz, None, "unread", (), 0)
    reading = current.reading
    own = (reading.verdict, tuple(reading.reasons))
    verdict, reasons = stands.get((reading.probe_id, reading.seq), own)
    return Place(bumper, position, class_khz, reading, verdict, reasons, current.earliest_ms)


def _in_force(bumper_results: Sequence[Result], places: Sequence[Place], bumper: int) -> str | None:
    """The newest result made of readings that count on a bumper, unless a newer reading there has overtaken it."""
    readings = [place.reading for place in places if place.bumper == bumper and place.reading is not None]
    of_bumper = [one for one in bumper_results if any(map(one.names_reading, readings))]
    if not of_bumper:
        return None
    last = max(of_bumper, key=lambda one: (one.sort_ms, one.seq))
    return None if any(map(last.is_before, readings)) else last.result
