"""This vehicle's system transmits while something foreign sounds beside it."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.bumper.silent import ROOMS, any_source, next_vehicle
from tests.bench.otheryard.kinds import Draft, Kind, Kinds, entered
from tests.bench.otheryard.truth import DEAD, SOUND_UNLESS_DROWNED_DB, said

KINDS: Kinds = {}
BESIDE_SPAN_DBFS = (-65.0, -15.0)
WORDS = {"dead": "a dead sensor", "weak": "a weak sensor", "sound": "a sound sensor"}
SOURCES = {
    "air": "compressed air",
    "electric": "an electric machine",
    "animals": "a bat or a bush cricket",
    "bodies": "something that jangles, falls or squeals",
    "devices": "a device that sends ultrasound",
}


def _dead(world: setting.Setting, rng: np.random.Generator, room: str) -> Draft:
    name, source = any_source(world, room, rng.uniform(*BESIDE_SPAN_DBFS))
    draft = world.draft(DEAD, world.turns(), world.siblings(None), (source,))
    draft.note["foreign"] = [name]
    return draft


def _sending(world: setting.Setting, rng: np.random.Generator, room: str, level_dbfs: float) -> Draft:
    """RETRY is no mistake where the foreign source comes within SOUND_UNLESS_DROWNED_DB of the sensor."""
    foreign_dbfs = rng.uniform(*BESIDE_SPAN_DBFS)
    name, source = any_source(world, room, foreign_dbfs)
    held = world.sensor(level_dbfs)
    truth = world.by_level(held)
    if foreign_dbfs > level_dbfs - SOUND_UNLESS_DROWNED_DB:
        truth = replace(truth, accepted=said("retry"))
    draft = world.draft(truth, world.turns(), world.siblings(held), (source,))
    draft.note["foreign"] = [name]
    return draft


def _make(state: str, room: str) -> Callable[[np.random.Generator], Draft]:
    def make(rng: np.random.Generator) -> Draft:
        world = setting.drawn(rng, least=3)
        if state == "dead":
            return _dead(world, rng, room)
        weak_dbfs = world.weak_level()
        return _sending(world, rng, room, weak_dbfs if state == "weak" else world.healthy_level())

    return make


for _state, _words in WORDS.items():
    for _room in ROOMS:
        _name = f"{_state}_beside_{_room}"
        KINDS[_name] = Kind(_name, f"{_words} beside {SOURCES[_room]}", _make(_state, _room))


@entered(KINDS, "a dead sensor, the next vehicle of the same class beside it")
def dead_beside_vehicle(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng, least=3)
    return world.draft(DEAD, world.turns(), world.siblings(None), (next_vehicle(world, world.class_khz),))


@entered(KINDS, "a sound sensor, the next vehicle of the same class beside it")
def sound_beside_vehicle(rng: np.random.Generator) -> Draft:
    world = setting.drawn(rng)
    held = world.sensor(world.healthy_level())
    truth = world.by_level(held)
    return world.draft(truth, world.turns(), world.siblings(held), (next_vehicle(world, world.class_khz),))
