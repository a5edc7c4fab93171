"""The technician's way: free air for the reference, section after section, and free air again."""

from dataclasses import dataclass, field, replace

import numpy as np

from tests.bench.otheryard.bumper.yardair import Ambient
from tests.bench.otheryard.front import unit as probe
from tests.bench.otheryard.front.unit import HIGH_OVER_LOW_DB
from tests.bench.otheryard.scene import Stream
from tests.bench.otheryard.seal.field import Tone, Track
from tests.bench.otheryard.story import HOLD, PRESS, Press, Tale
from tests.bench.otheryard.truth import Truth, said
from tests.bench.otheryard.types import Source

# The factory's limit: nearer to the free reference than this is a leak. A leak of these scenes comes at least
# LEAK_MARGIN_DB nearer for LEAK_LEAST_S; what comes through a tight seal stays TIGHT_MARGIN_DB below in the mean, which
# its fades overshoot by 7 dB about once in 150 places (Rayleigh: exp(-5)).
LIMIT_DB = -24.0
LEAK_MARGIN_DB, TIGHT_MARGIN_DB = 5.0, 10.0
LEAK_LEAST_S = 0.4
NOTHING_DB = -120.0
# How much the straight sound exceeds the diffuse one: in free air before the open door, at a slit, at a panel.
FREE_STRAIGHT_DB, SLIT_STRAIGHT_DB, PANEL_STRAIGHT_DB = 12.0, 10.0, -20.0

LEAK = Truth(said("leak"), must_not=said("tight"))
TIGHT = Truth(said("tight"), must_not=said("leak"))
ONLY_RETRY = Truth(said("retry"), must_not=said("leak", "tight"))


@dataclass(frozen=True)
class Slit:
    """A leak of `level_db` against the reference, for `seconds`, `at` (0 to 1) of the way through the section."""

    at: float
    level_db: float
    seconds: float


@dataclass
class Walk:
    """Builds a story: the reference, sections, and the confirmation, each with its presses."""

    rng: np.random.Generator
    reference_dbfs: float
    tone_hz: float = 15_000.0
    speed_m_per_s: float = 0.1
    now_s: float = 0.0
    knots: list[tuple[float, float, float]] = field(default_factory=list)
    presses: list[Press] = field(default_factory=list)
    truths: list[Truth] = field(default_factory=list)

    def _knot(self, at_s: float, level_db: float, straight_db: float) -> None:
        self.knots.append((at_s, level_db, straight_db))

    def _stay(self, seconds: float, level_db: float, straight_db: float) -> None:
        self._knot(self.now_s, level_db, straight_db)
        self.now_s += seconds
        self._knot(self.now_s, level_db, straight_db)

    def _go(self) -> None:
        self.now_s += self.rng.uniform(0.6, 1.2)

    def press(self, gesture: str, means: str) -> None:
        """A gesture now."""
        self.presses.append(Press(self.now_s, gesture, means))

    def free(self, means: str = "reference", gesture: str = PRESS) -> None:
        """Free air: two seconds and more before the press and three after it."""
        self._stay(self.rng.uniform(2.0, 3.0), 0.0, FREE_STRAIGHT_DB)
        self.press(gesture, means)
        self._stay(3.2, 0.0, FREE_STRAIGHT_DB)
        self._go()

    def confirm(self) -> None:
        """The reference once more, which gives the sections their verdicts."""
        self.free("confirm", HOLD)

    def begin(self, flank_db: float = -60.0) -> None:
        """The press at the beginning of the first section."""
        self._stay(0.4, flank_db, PANEL_STRAIGHT_DB)
        self.press(PRESS, "begin")

    def section(self, truth: Truth, seconds: float, flank_db: float, *slits: Slit) -> None:
        """A section with its leaks, and the press at its end. flank_db: what comes through panels and glass."""
        begin_s = self.now_s
        self._knot(begin_s, flank_db, PANEL_STRAIGHT_DB)
        for slit in sorted(slits, key=lambda each: each.at):
            middle_s = begin_s + seconds * slit.at
            for late_s, level_db, straight_db in (
                (-slit.seconds / 2 - 0.15, flank_db, PANEL_STRAIGHT_DB),
                (-slit.seconds / 2, slit.level_db, SLIT_STRAIGHT_DB),
                (slit.seconds / 2, slit.level_db, SLIT_STRAIGHT_DB),
                (slit.seconds / 2 + 0.15, flank_db, PANEL_STRAIGHT_DB),
            ):
                self._knot(middle_s + late_s, level_db, straight_db)
        self.now_s = begin_s + seconds
        self._knot(self.now_s, flank_db, PANEL_STRAIGHT_DB)
        self.press(PRESS, "end")
        self.truths.append(truth)
        self._stay(0.3, flank_db, PANEL_STRAIGHT_DB)

    def tone(self, **fields: object) -> Tone:
        """The tone along the way so far."""
        at_s, level_db, straight_db = (np.array(column) for column in zip(*self.knots, strict=True))
        order = np.argsort(at_s, kind="stable")
        track = Track(
            at_s[order], level_db[order] + self.reference_dbfs, straight_db[order], self.speed_m_per_s
        )
        made = Tone(self.tone_hz, track, int(self.rng.integers(1 << 40)))
        return replace(made, **fields)  # type: ignore[arg-type]

    def tale(
        self, *more: Source, noise_dbfs: float | None = None, unit: probe.Unit | None = None, **tone: object
    ) -> Tale:
        """The story of the way so far. noise_dbfs: the yard's, rms over 30 to 80 kHz at the high input."""
        noise_dbfs = self.rng.uniform(-60, -45) if noise_dbfs is None else noise_dbfs
        yard = Ambient(noise_dbfs - HIGH_OVER_LOW_DB, int(self.rng.integers(1 << 40)))
        sources: list[Source] = [self.tone(**tone), yard, *more]
        stream = Stream(sources, unit or probe.drawn(self.rng))
        return Tale(stream, self.presses, self.truths, self.now_s + 0.5, self.tone_hz)


def drawn(rng: np.random.Generator) -> Walk:
    """A walk whose reference is loud enough by far; the wand moves 4 to 20 cm a second."""
    return Walk(rng, rng.uniform(-38, -12), speed_m_per_s=rng.uniform(0.04, 0.2))


def leak_db(rng: np.random.Generator) -> float:
    """A leak's level against the reference, clearly over the limit."""
    return float(rng.uniform(LIMIT_DB + LEAK_MARGIN_DB, -3))


def flank_db(rng: np.random.Generator) -> float:
    """What a tight seal's panel lets through, in the mean."""
    return float(rng.uniform(-60, LIMIT_DB - TIGHT_MARGIN_DB))
