"""Scenes for both boards: of the bench's own yard, and of the second yard that other hands made."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import chain, islice
from typing import Any

from curbtick.yard.ear import faults
from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.inputs import Samples
from curbtick.yard.scenes import scenes
from curbtick_wire import classes

from tests.bench.otheryard import catalog
from tests.bench.otheryard.scene import Scene


@dataclass(frozen=True)
class Case:
    """A scene with a name and its sensors' class; make: its ear, a new one at each call."""

    name: str
    class_khz: int
    make: Callable[[], Ear]


class StreamEar(Ear):
    """The second yard's scene as the bench's ear; it begins with the first sample that is asked for."""

    def __init__(self, scene: Scene) -> None:
        super().__init__()
        self._scene = scene

    def read(self, count: int, input: int, start_us: float) -> Samples:
        """Samples of an input."""
        samples: Samples = self._scene.read(count, input, int(start_us))
        return samples


def chosen() -> list[Case]:
    """The plain ones: healthy at three intervals, weak, dead."""
    made: dict[str, dict[str, Any]] = {
        "healthy": {"seed": 11},
        "healthy every 100 ms": {"seed": 16, "interval_ms": 100.0},
        "healthy every 400 ms": {"seed": 15, "interval_ms": 400.0},
        "weak": {"seed": 12, "fault": faults.weak(15.0)},
        "dead": {"seed": 13, "fault": faults.DEAD},
    }
    return [Case(name, 48, partial(scenes.single, **words)) for name, words in made.items()]


def own(seed: int) -> Iterator[Case]:
    """Random scenes of the bench's yard, a thousand numbers for each seed."""
    number = 1000 * seed
    while True:
        scene = scenes.random_scene(number)
        yield Case(f"yard {number}", scene.truth.class_khz, partial(_own_ear, number))
        number += 1


def _own_ear(number: int) -> Ear:
    return scenes.random_scene(number).ear


def second(seed: int) -> Iterator[Case]:
    """Scenes of the second yard, its kinds in turn, from a place that the seed chooses."""
    index = seed % len(catalog.BUMPER)
    while True:
        scene = catalog.bumper_scene(seed, index)
        yield Case(f"second yard {scene.kind}", scene.class_khz, partial(_second_ear, seed, index))
        index += 1


def _second_ear(seed: int, index: int) -> Ear:
    return StreamEar(catalog.bumper_scene(seed, index))


def drawn(seed: int, count: int) -> list[Case]:
    """The chosen cases, then as many of each yard as make `count`; only classes that a round can name."""
    in_turn = chain.from_iterable(zip(own(seed), second(seed), strict=False))
    known = (case for case in in_turn if case.class_khz in (classes.CUSTOM, *classes.CLASSES_KHZ))
    plain = chosen()[:count]
    return plain + list(islice(known, count - len(plain)))
