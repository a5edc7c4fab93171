"""The technician's way through a hiss check: the background, then sections; and the sums that fix the truth."""

from dataclasses import dataclass, field

import numpy as np
from curbtick_wire.names import INPUT_HIGH

from tests.bench.otheryard.front import unit as probe
from tests.bench.otheryard.front.unit import HIGH_OVER_LOW_DB
from tests.bench.otheryard.jet.flow import Course, Noise, steady
from tests.bench.otheryard.scene import Stream
from tests.bench.otheryard.story import PRESS, Press, Tale
from tests.bench.otheryard.truth import Truth, said
from tests.bench.otheryard.types import Source

BACKGROUND_S = 6.9

HISS = Truth(said("hiss"), must_not=said("quiet"))
TONE = Truth(said("tone"), said("hiss"), said("quiet"))
QUIET = Truth(said("quiet"), must_not=said("hiss", "tone"))
QUIET_OR_RETRY = Truth(said("quiet", "retry"), must_not=said("hiss", "tone"))
RESTLESS = Truth(said("retry"), said("quiet"), said("hiss", "tone"))
ONLY_RETRY = Truth(said("retry"), must_not=said("hiss", "quiet", "tone"))


@dataclass
class Shift:
    """A background of `ambient_dbfs` (rms over 30 to 80 kHz at the high input, without the front end's own), and the
    sections. Sections begin where the last one ended.
    """

    rng: np.random.Generator
    ambient_dbfs: float
    spectrum: str = "jet"
    now_s: float = 0.5
    presses: list[Press] = field(default_factory=list)
    truths: list[Truth] = field(default_factory=list)
    begun_s: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.unit = probe.drawn(self.rng)
        self.presses.append(Press(self.now_s, PRESS, "background"))
        self.now_s += BACKGROUND_S + 1.5

    def section(self, truth: Truth, seconds: float) -> tuple[float, float]:
        """A section and the press at its end; returns when it begins and ends."""
        begin_s = self.now_s
        self.now_s += seconds
        self.presses.append(Press(self.now_s, PRESS, "end"))
        self.truths.append(truth)
        self.begun_s.append(begin_s)
        return begin_s, self.now_s

    @property
    def ambient_rms(self) -> float:
        """The background's rms in full scales of the low input."""
        return float(10 ** ((self.ambient_dbfs - HIGH_OVER_LOW_DB) / 20))

    def rms_for(self, rise_db: float) -> float:
        """Rms of a jet that lifts all that this probe's high input shows over 30 to 80 kHz by `rise_db`."""
        own = self.unit.own_noise(INPUT_HIGH) * 10 ** (-self.unit.step_db[INPUT_HIGH] / 20)
        return float(np.sqrt((self.ambient_rms**2 + own**2) * (10 ** (rise_db / 10) - 1)))

    def jet(self, course: Course) -> Noise:
        """A leak's noise."""
        return Noise("jet", course, int(self.rng.integers(1 << 40)))

    def tale(self, *more: Source, background: Course | None = None, unit: probe.Unit | None = None) -> Tale:
        """The story so far."""
        course = background or steady(self.ambient_rms)
        yard = Noise(self.spectrum, course, int(self.rng.integers(1 << 40)))
        stream = Stream([yard, *more], unit or self.unit)
        return Tale(stream, self.presses, self.truths, self.now_s + 1.0)


def drawn(rng: np.random.Generator) -> Shift:
    """A yard between silent (the front end's own noise covers it) and busy with compressed air."""
    if rng.uniform() < 0.5:
        return Shift(rng, float(rng.uniform(-65, -44)), "workshop")
    return Shift(rng, float(rng.uniform(-60, -30)))
