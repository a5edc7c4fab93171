"""Nothing of this vehicle transmits, and something else sounds or nothing does: only RETRY is right."""

from collections.abc import Callable

import numpy as np
from curbtick_wire.classes import CLASSES_KHZ

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.bumper.setting import Setting
from tests.bench.otheryard.foreign import air as compressed
from tests.bench.otheryard.foreign import animals, bodies, devices, electric
from tests.bench.otheryard.foreign.source import FOREIGN, Both
from tests.bench.otheryard.kinds import Draft, Kind, Kinds, entered
from tests.bench.otheryard.physics.air import travel_loss_db
from tests.bench.otheryard.sensor.drive import tone
from tests.bench.otheryard.truth import NOTHING_TRANSMITS
from tests.bench.otheryard.types import Source
from tests.bench.otheryard.vehicle import schedule
from tests.bench.otheryard.vehicle.bumper import Arrivals, Place, arrivals

KINDS: Kinds = {}
ROOMS = {
    room.__name__.rpartition(".")[2]: [k for k in FOREIGN.values() if k.make.__module__ == room.__name__]
    for room in (compressed, electric, animals, bodies, devices)
}
ALONE_SPAN_DBFS = (-60.0, 0.0)
# Another vehicle's sensor nose to nose: what reaches the microphone in the collar from 1.5 m, and weaker beyond.
NOSE_TO_NOSE_DBFS, NOSE_TO_NOSE_M = -56.0, 1.5


def next_vehicle(world: Setting, class_khz: int, most_dbfs: float = NOSE_TO_NOSE_DBFS) -> Arrivals:
    """Another vehicle's bumper, 1.5 to 6 m away, of three to six sensors that fire in turn."""
    rng, count = world.rng, int(world.rng.integers(3, 7))
    away_m, centre_hz = rng.uniform(NOSE_TO_NOSE_M, 6.0), class_khz * 1000.0
    loss_db = travel_loss_db(away_m, NOSE_TO_NOSE_M, centre_hz, world.temperature_c)
    sensors = []
    for _ in range(count):
        own_hz = centre_hz + rng.normal(0, 800)
        sensors.append(world.sensor(0.0, own_hz, [tone(own_hz, int(rng.integers(8, 25)))]))
    # Beside its axis a sensor loses up to 18 dB (side lobes of a piston, Kinsler & Frey).
    places = [Place(away_m, loss_db - most_dbfs + rng.uniform(0, 18)) for _ in range(count)]
    firings = schedule.in_turn(rng, count, rng.uniform(30e-3, 40e-3))
    return arrivals(firings, list(sensors), places, world.temperature_c)


@entered(KINDS, "a silent yard")
def silence(rng: np.random.Generator) -> Draft:
    return setting.drawn(rng).alone(NOTHING_TRANSMITS)


def _vehicle_beside(rng: np.random.Generator, same: bool, vehicles: int) -> Draft:
    world = setting.drawn(rng)
    others = [khz for khz in CLASSES_KHZ if khz != world.class_khz]
    classes = [world.class_khz if same else int(rng.choice(others)) for _ in range(vehicles)]
    return world.alone(NOTHING_TRANSMITS, *(next_vehicle(world, khz) for khz in classes))


@entered(KINDS, "only the next vehicle's system of the same class, -56 dBFS and less")
def next_same_class(rng: np.random.Generator) -> Draft:
    return _vehicle_beside(rng, True, 1)


@entered(KINDS, "only the next vehicle's system of another class")
def next_other_class(rng: np.random.Generator) -> Draft:
    return _vehicle_beside(rng, False, 1)


@entered(KINDS, "only the systems of two vehicles around")
def next_two(rng: np.random.Generator) -> Draft:
    return _vehicle_beside(rng, True, 2)


def any_source(world: Setting, room: str, level_dbfs: float) -> tuple[str, Source]:
    """A foreign source of a room, drawn, and its name."""
    kinds = ROOMS[room]
    kind = kinds[int(world.rng.integers(len(kinds)))]
    return kind.name, kind.make(world.rng, world.centre_hz, level_dbfs)


@entered(KINDS, "only two foreign sources at once, of any kind")
def two_foreign(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    rooms = rng.choice(list(ROOMS), 2, replace=False)
    chosen = [any_source(world, str(room), rng.uniform(*ALONE_SPAN_DBFS)) for room in rooms]
    draft = world.alone(NOTHING_TRANSMITS, Both([source for _, source in chosen]))
    draft.note["foreign"] = [name for name, _ in chosen]
    return draft


@entered(KINDS, "only a foreign source, and the next vehicle of the same class")
def foreign_and_next(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    name, source = any_source(world, str(rng.choice(list(ROOMS))), rng.uniform(*ALONE_SPAN_DBFS))
    draft = world.alone(NOTHING_TRANSMITS, source, next_vehicle(world, world.class_khz))
    draft.note["foreign"] = [name]
    return draft


def _only(foreign: Kind) -> Callable[[np.random.Generator], Draft]:
    def make(rng: np.random.Generator) -> Draft:
        world = setting.drawn(rng)
        source = foreign.make(rng, world.centre_hz, rng.uniform(*ALONE_SPAN_DBFS))
        return world.alone(NOTHING_TRANSMITS, source)

    return make


for _foreign in FOREIGN.values():
    KINDS[f"only_{_foreign.name}"] = Kind(f"only_{_foreign.name}", f"only {_foreign.line}", _only(_foreign))
