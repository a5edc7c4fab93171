"""Kinds of scenes: a name, a line that describes it, and the function that draws one."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.bench.otheryard.front.unit import Unit
from tests.bench.otheryard.scene import Before
from tests.bench.otheryard.truth import Truth
from tests.bench.otheryard.types import Source


@dataclass
class Draft:
    """What a kind of the bumper check draws: everything of a scene but its name and number."""

    class_khz: int
    centre_hz: float
    truth: Truth
    sources: list[Source]
    unit: Unit
    before: Before | None = None
    note: dict[str, Any] = field(default_factory=dict)


Maker = Callable[..., Any]


@dataclass(frozen=True)
class Kind:
    """A kind of scene; `make` draws one from a generator. A foreign source is drawn from a generator, the class's
    frequency and a level.
    """

    name: str
    line: str
    make: Maker


Kinds = dict[str, Kind]


def entered(kinds: Kinds, line: str) -> Callable[[Maker], Maker]:
    """Enter the function below it in `kinds`, under its own name."""

    def enter(make: Maker) -> Maker:
        name = make.__name__
        if name in kinds:
            raise ValueError(f"two kinds are called {name}: rename one")
        kinds[name] = Kind(name, line, make)
        return make

    return enter
