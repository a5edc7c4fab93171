"""The demo day: an invented depot's round, an ear for every place of it, and what each must come out as.

    day = load(seed=1)
    for place in day.places():
        scene = day.scene(place)                    # scene.ear goes to the probe
        expected = day.expected(place)              # .verdict, .reason, .fault
    day.bumper_expected(1, "rear")                  # .result, .verdicts
    for place in day.repairs:                       # the second part
        scene = day.scene(place, repaired=True)

A seed changes noise, weather, seat and small variations; the list of faults stays.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from curbtick_wire.names import BUMPERS, DEAD, PASS, RETRY, VERDICTS

from curbtick.device import demo_data_folder
from curbtick.yard.air.acoustics import Air
from curbtick.yard.air.collar import Inside, Seat, held_dbfs, neighbour_dbfs
from curbtick.yard.ear import faults
from curbtick.yard.ear.faults import Fault
from curbtick.yard.scenes.build import Echo, Neighbour, Recipe, Scene, build
from curbtick.yard.scenes.vehicles import BumperPlan, VehiclePlan, read_json, read_vehicles
from curbtick.yard.sounds.din import named_din
from curbtick.yard.sounds.noise import Layer
from curbtick.yard.sounds.sensors import Sensor
from curbtick.yard.sounds.sources import Source

SHADING_DB = 38.0
FARTHER_STEP_DB = 4.0
# A reading is judged over this long from a moment when all is settled.
JUDGED_US = 1_500_000.0
_REASONS = {
    "dead": "only_neighbour",
    "weak": "low_level",
    "painted": "low_level",
    "iced": "low_level",
    "off_frequency": "off_frequency",
    "intermittent": "irregular",
    "long_ringing": "odd_ringdown",
    "short_ringing": "odd_ringdown",
}


@dataclass(frozen=True)
class Place:
    """Where the probe is held: vehicle's number in the round, bumper (names.BUMPERS), position from 1."""

    vehicle: int
    bumper: str
    position: int


@dataclass(frozen=True)
class Expected:
    """What a reading must be: verdict (names.VERDICTS), the reason behind it (None for a PASS), the fault's kind."""

    verdict: str
    reason: str | None
    fault: str


@dataclass(frozen=True)
class BumperExpected:
    """What a bumper result must be: result (names.BUMPER_RESULTS) and the verdict at each position."""

    result: str
    verdicts: tuple[str, ...]


class Day:
    """One day at the depot. vehicles in the round's order; repairs: sensors replaced in the day's second part."""

    def __init__(
        self, vehicles: tuple[VehiclePlan, ...], repairs: tuple[Place, ...], air: Air, seed: int
    ) -> None:
        self.vehicles = vehicles
        self.repairs = repairs
        self.air = air
        self._seed = seed

    def vehicle(self, number: int) -> VehiclePlan:
        """Return the vehicle with a number in the round."""
        return self.vehicles[number - 1]

    def places(self) -> Iterator[Place]:
        """Yield every place in the order in which the technician walks."""
        for vehicle in self.vehicles:
            for bumper in BUMPERS:
                if bumper in vehicle.bumpers:
                    for position in range(1, vehicle.bumpers[bumper].positions + 1):
                        yield Place(vehicle.number, bumper, position)

    def fault_at(self, place: Place, repaired: bool = False) -> Fault:
        """Return what is wrong with the sensor at a place; repaired: after the day's repairs."""
        vehicle = self.vehicle(place.vehicle)
        if not vehicle.transmits:
            return faults.DEAD
        if repaired and place in self.repairs:
            return faults.HEALTHY
        return vehicle.bumpers[place.bumper].fault_at(place.position)

    def scene(self, place: Place, repaired: bool = False) -> Scene:
        """Return the scene at a place; its ear may be read at any time from 0 us on."""
        vehicle = self.vehicle(place.vehicle)
        bumper = vehicle.bumpers[place.bumper]
        key = (self._seed, place.vehicle, BUMPERS.index(place.bumper), place.position, int(repaired))
        random = np.random.default_rng(key)
        seat = Seat(float(random.uniform(0.048, 0.053)), float(random.uniform(0.0, 4.0)))
        recipe = self._recipe(vehicle, bumper, place, random, seat)
        recipe = replace(recipe, fault=self.fault_at(place, repaired))
        return build(recipe, int(random.integers(2**31)))

    def _recipe(
        self, vehicle: VehiclePlan, bumper: BumperPlan, place: Place, random: np.random.Generator, seat: Seat
    ) -> Recipe:
        shift_hz = float(np.clip(random.normal(0.0, 400.0), -1_000.0, 1_000.0))
        sensor = Sensor(bumper.class_khz, bumper.class_khz * 1e3 + shift_hz)
        deviation_db = float(np.clip(random.normal(0.0, 0.6), -1.2, 1.2))
        layers, passing = self._din(vehicle, random)
        return Recipe(
            sensor,
            held_dbfs(deviation_db, sensor.resonance_hz, seat, self.air),
            interval_ms=vehicle.interval_ms,
            phase_ms=float(random.uniform(0.0, vehicle.interval_ms)),
            echoes=(Echo(float(random.uniform(4e3, 15e3)), 45.0),),
            neighbours=self._neighbours(vehicle, bumper, place, random),
            air=self.air,
            seat=seat,
            inside=Inside(face_db=(16.0, 32.0), wall=((35.0, 26.0),)),
            layers=layers,
            imposters=passing,
        )

    def _neighbours(
        self, vehicle: VehiclePlan, bumper: BumperPlan, place: Place, random: np.random.Generator
    ) -> tuple[Neighbour, ...]:
        out = []
        for position in range(1, bumper.positions + 1):
            fault = bumper.fault_at(position)
            if position == place.position or fault.silent or not vehicle.transmits:
                continue
            farther_db = FARTHER_STEP_DB * (abs(position - place.position) - 1)
            level_dbfs = neighbour_dbfs(-fault.loss_db, SHADING_DB, farther_db)
            slot = ((position - place.position) % bumper.positions) / bumper.positions
            echoes = (Echo(float(random.uniform(3e3, 12e3)), float(random.uniform(10.0, 20.0))),)
            out.append(
                Neighbour(Sensor(bumper.class_khz, bumper.class_khz * 1e3), level_dbfs, slot, echoes=echoes)
            )
        return tuple(out)

    @staticmethod
    def _din(
        vehicle: VehiclePlan, random: np.random.Generator
    ) -> tuple[tuple[Layer, ...], tuple[Source, ...]]:
        layers: list[Layer] = []
        passing: list[Source] = []
        for name in vehicle.din:
            lasting, sounding = named_din(name, random)
            layers += lasting
            passing += sounding
        return tuple(layers), tuple(passing)

    def expected(self, place: Place, repaired: bool = False) -> Expected:
        """Return what a reading at a place must be by the factory limits."""
        answer = self.scene(place, repaired).judge(JUDGED_US)
        fault = self.fault_at(place, repaired)
        if RETRY in answer.accept and not self.vehicle(place.vehicle).transmits:
            return Expected("retry", "nothing_heard", "not_transmitting")
        verdict = max(answer.accept)
        return Expected(VERDICTS[verdict], _REASONS.get(fault.kind) if verdict != PASS else None, fault.kind)

    def bumper_expected(self, vehicle: int, bumper: str, repaired: bool = False) -> BumperExpected:
        """Return what a bumper result must be once all its positions have been read."""
        plan = self.vehicle(vehicle).bumpers[bumper]
        verdicts = tuple(
            self.expected(Place(vehicle, bumper, position), repaired).verdict
            for position in range(1, plan.positions + 1)
        )
        if set(verdicts) == {VERDICTS[RETRY]}:
            return BumperExpected("not_transmitting", verdicts)
        verdicts = tuple(VERDICTS[DEAD] if verdict == VERDICTS[RETRY] else verdict for verdict in verdicts)
        return BumperExpected("all_pass" if set(verdicts) == {VERDICTS[PASS]} else "repair", verdicts)


def _random_air(data: dict[str, float], seed: int) -> Air:
    random = np.random.default_rng((seed, 7))
    return Air(
        temperature_c=data["temperature_c"] + float(random.uniform(-4.0, 4.0)),
        humidity_percent=data["humidity_percent"] + float(random.uniform(-10.0, 10.0)),
    )


def load(seed: int = 1, folder: Path | None = None) -> Day:
    """Load the demo day. folder: of depot.json and day.json, demo_data by default. Raises InputError."""
    base = folder or demo_data_folder()
    vehicles = read_vehicles(base / "depot.json")
    day = read_json(base / "day.json")
    repairs = tuple(Place(entry["vehicle"], entry["bumper"], entry["position"]) for entry in day["repairs"])
    return Day(vehicles, repairs, _random_air(day["air"], seed), seed)
