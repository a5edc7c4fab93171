"""Bad sensors in systems that do not simply fire in turn, halls that answer, and a vehicle that drives by."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.bumper.faulty import loose_truth
from tests.bench.otheryard.bumper.setting import Setting
from tests.bench.otheryard.bumper.silent import next_vehicle
from tests.bench.otheryard.kinds import Draft, Kind, Kinds, entered
from tests.bench.otheryard.physics.air import absorption_db_per_m, speed_m_per_s
from tests.bench.otheryard.physics.level import amplitude
from tests.bench.otheryard.truth import DEAD, NOTHING_TRANSMITS
from tests.bench.otheryard.vehicle import contact, schedule
from tests.bench.otheryard.vehicle.bumper import Arrivals, Echo
from tests.bench.otheryard.vehicle.schedule import Firing

KINDS: Kinds = {}

Scheduler = Callable[[Setting], list[Firing]]


def _groups(world: Setting) -> list[Firing]:
    return schedule.in_groups(world.rng, world.count, world.rng.uniform(30e-3, 60e-3))


def _dithered(world: Setting) -> list[Firing]:
    return schedule.dithered(world.rng, world.count, world.slot_s, world.rng.uniform(2e-3, 8e-3))


def _double(world: Setting) -> list[Firing]:
    return schedule.double(world.rng, world.count, world.slot_s + 10e-3, world.rng.uniform(8e-3, 18e-3))


def _adaptive(world: Setting) -> list[Firing]:
    factor = world.rng.uniform(0.6, 0.8) if world.rng.uniform() < 0.5 else world.rng.uniform(1.25, 1.7)
    return schedule.adaptive(world.rng, world.count, world.slot_s, factor, world.rng.uniform(0.2, 1.0))


def _uneven(world: Setting) -> list[Firing]:
    return schedule.uneven(world.rng, world.count, world.slot_s)


SCHEDULERS: dict[str, tuple[Scheduler, str]] = {
    "in_groups": (_groups, "two sensors fire at once"),
    "dithered": (_dithered, "each burst is late by its own share of 2 to 8 ms"),
    "double": (_double, "each sensor fires twice in its slot"),
    "adaptive": (_adaptive, "the rate changes within the reading"),
    "uneven": (_uneven, "the inner sensors fire twice in a loop"),
}


def _weak(scheduler: Scheduler) -> Callable[[np.random.Generator], Draft]:
    def make(rng: np.random.Generator) -> Draft:
        world = setting.drawn(rng, least=4)
        held = world.sensor(world.weak_level())
        return world.draft(world.by_level(held), scheduler(world), world.siblings(held))

    return make


def _loose(scheduler: Scheduler) -> Callable[[np.random.Generator], Draft]:
    def make(rng: np.random.Generator) -> Draft:
        world = setting.drawn(rng, least=4)
        held, sent = world.sensor(world.healthy_level()), contact.random(rng, rng.uniform(0.3, 0.6))
        firings = [f for f in scheduler(world) if f.sensor != world.held or sent[f.burst % len(sent)]]
        truth = loose_truth(world, held, firings)
        return world.draft(truth, firings, world.siblings(held), shade_most_db=39.0)

    return make


for _name, (_scheduler, _line) in SCHEDULERS.items():
    KINDS[f"weak_{_name}"] = Kind(f"weak_{_name}", f"a weak sensor where {_line}", _weak(_scheduler))
    KINDS[f"loose_{_name}"] = Kind(
        f"loose_{_name}", f"a loose contact sends 30 to 60 % where {_line}", _loose(_scheduler)
    )


def _hall(world: Setting) -> list[Echo]:
    """A hall's answer: 30 reflections over 60 ms, which the air takes away faster than the walls do."""
    rng = world.rng
    lost_db_per_s = (absorption_db_per_m(world.centre_hz, world.temperature_c, 50) + 0.05) * speed_m_per_s(
        world.temperature_c
    )
    first_db, delays_s = rng.uniform(30, 40), np.sort(rng.uniform(4e-3, 60e-3, 30))
    return [
        Echo(float(at_s), float(first_db + lost_db_per_s * at_s + rng.exponential(4.3))) for at_s in delays_s
    ]


@entered(KINDS, "a sound sensor in a hall of bare walls that answers each burst for 60 ms")
def sound_in_hall(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(world.healthy_level())
    return world.draft(world.by_level(held), world.turns(), world.siblings(held), echoes=tuple(_hall(world)))


@entered(KINDS, "a dead sensor in a hall: its siblings are loud there, and the hall answers them")
def dead_in_hall(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    sensors = world.siblings(None)
    draft = world.draft(DEAD, world.turns(), sensors)
    heard = draft.sources[0]
    assert isinstance(heard, Arrivals)
    for sensor in sensors:
        if sensor is not None:
            heard.repeat(sensor, _hall(world)[:10])
    return draft


@entered(KINDS, "only another vehicle of the same class, which drives by at 1 to 3 m/s while it reverses")
def vehicle_drives_by(rng: np.random.Generator) -> Draft:
    """It is nearest, 1.5 m away, within the reading; its bursts come in step with its way."""
    world = setting.drawn(rng)
    passing = next_vehicle(world, world.class_khz)
    speed, nearest_s, sound = rng.uniform(1, 3), rng.uniform(0.2, 1.5), speed_m_per_s(world.temperature_c)
    moved = []
    for arrival in passing.arrivals:
        away_m = float(np.hypot(1.5, speed * (arrival.at_s - nearest_s)))
        late_s = (away_m - 1.5) / sound
        gain = arrival.gain * 1.5 / away_m * amplitude(-1.3 * (away_m - 1.5))
        moved.append(replace(arrival, at_s=arrival.at_s + late_s, gain=gain))
    return world.alone(NOTHING_TRANSMITS, Arrivals(moved))
