"""Scenes: an Ear for one position of one bumper, and the truth about it.

    ear = scenes.single(class_khz=48, level_dbfs=-8, interval_ms=200, seed=1)
    samples = ear.read(1024, names.INPUT_LOW, start_us=0)

is a healthy sensor with three siblings in a quiet yard; with its truth, and with everything else there is:

    scene = scenes.single_scene(class_khz=48, fault=faults.weak(15))
    answer = scene.judge(end_us=1_200_000)          # answer.accept: the verdicts that are right
    scene = scenes.random_scene(seed)               # the benchmark's population: population.py
"""

from typing import Any

import numpy as np

from curbtick.yard.ear.ear import Ear
from curbtick.yard.ear.faults import HEALTHY, Fault
from curbtick.yard.scenes.build import FACTORY_CLASSES, Echo, Neighbour, Recipe, Scene, build
from curbtick.yard.scenes.population import random_recipe, random_scene
from curbtick.yard.sounds.noise import BANK, Broadband
from curbtick.yard.sounds.sensors import Sensor

__all__ = [
    "FACTORY_CLASSES",
    "Echo",
    "Neighbour",
    "Recipe",
    "Scene",
    "build",
    "random_recipe",
    "random_scene",
    "single",
    "single_scene",
]


def single_scene(
    class_khz: int = 48,
    level_dbfs: float = -8.0,
    interval_ms: float = 200.0,
    seed: int = 1,
    *,
    sensor: Sensor | None = None,
    fault: Fault = HEALTHY,
    siblings: int = 3,
    sibling_dbfs: float = -50.0,
    noise_dbfs: float | None = None,
    **recipe_fields: Any,
) -> Scene:
    """Return the scene of one sensor in the collar.

    level_dbfs: the held sensor's level, its fault's loss not yet taken off; sensor: by default the class's centre, 16
    cycles, tau 180 us; siblings: how many others fire in turn within interval_ms, each at sibling_dbfs; noise_dbfs: a
    steady hiss, rms over 30-80 kHz, or None for a quiet yard; recipe_fields: of build.Recipe (phase_ms is drawn unless
    given).
    """
    random = np.random.default_rng(seed)
    built = sensor or Sensor(class_khz, class_khz * 1e3)
    phase_ms = float(random.uniform(0.0, interval_ms))
    layers = () if noise_dbfs is None else (Broadband("hiss", noise_dbfs, int(random.integers(BANK))),)
    others = tuple(Neighbour(built, sibling_dbfs, turn / (siblings + 1)) for turn in range(1, siblings + 1))
    fields = {"phase_ms": phase_ms, "layers": layers, "neighbours": others, **recipe_fields}
    return build(Recipe(built, level_dbfs, fault, interval_ms, **fields), seed)


def single(*scene_arguments: Any, **scene_keywords: Any) -> Ear:
    """Return the ear of `single_scene`."""
    return single_scene(*scene_arguments, **scene_keywords).ear
