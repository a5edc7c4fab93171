"""What gets into the codes by wire: mains hum, the supply's ripple, the reference's slow noise, radio bursts."""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.physics.level import FULL_SCALE_CODES, RATE_HZ
from tests.bench.otheryard.types import F32


@dataclass(frozen=True)
class Line:
    """A steady oscillation in codes; `drift_hz` is how far its frequency wanders, over about a second."""

    frequency_hz: float
    codes: float
    phase: float = 0.0
    drift_hz: float = 0.0

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page of codes."""
        at_s = (first + np.arange(len(page))) / RATE_HZ
        wander = self.drift_hz * np.sin(2 * np.pi * at_s) / (2 * np.pi) if self.drift_hz else 0.0
        page += (self.codes * np.sin(2 * np.pi * (self.frequency_hz * at_s + wander) + self.phase)).astype(
            np.float32
        )


def mains(rng: np.random.Generator, codes: float) -> list[Line]:
    """Hum of 50 or 60 Hz and its second, third and fifth harmonic."""
    base_hz = float(rng.choice([50.0, 60.0]))
    shares = ((1, 1.0), (2, 0.3), (3, 0.25), (5, 0.1))
    return [Line(base_hz * n, codes * share, float(rng.uniform(0, 6.28))) for n, share in shares]


def ripple(rng: np.random.Generator, level_dbfs: float) -> list[Line]:
    """A converter's ripple with its second harmonic; its frequency moves with the load."""
    base_hz, codes = float(rng.uniform(25e3, 60e3)), FULL_SCALE_CODES * 10 ** (level_dbfs / 20)
    drift_hz = float(rng.uniform(20, 800))
    return [Line(base_hz, codes, 0.0, drift_hz), Line(2 * base_hz, codes / 3, 1.0, 2 * drift_hz)]
