"""The yard's own quiet noise, which no scene is without."""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.physics.strips import cut
from tests.bench.otheryard.types import F32


@dataclass(frozen=True)
class Ambient:
    """Steady noise that falls towards high frequencies; level: rms over 30 to 80 kHz, dBFS."""

    level_dbfs: float
    begins: int

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page."""
        page += cut("workshop", self.begins + first, len(page)) * np.float32(10 ** (self.level_dbfs / 20))

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> "Ambient":
        """Between a silent yard and a busy one; a collar on the bumper keeps most of it out (our choice)."""
        return cls(float(rng.uniform(-95, -68)), int(rng.integers(1 << 40)))
