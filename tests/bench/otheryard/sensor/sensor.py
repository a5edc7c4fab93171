"""One sensor: a transducer, the drives it takes in turn, and the level that its bursts reach in the collar."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.bench.otheryard.physics.level import RATE_HZ, amplitude, burst_level_db, centre_hz
from tests.bench.otheryard.sensor.drive import Drive
from tests.bench.otheryard.sensor.transducer import Transducer
from tests.bench.otheryard.types import F64


@dataclass(frozen=True)
class Collar:
    """The reflection inside the collar: it comes `delay_s` later (50 mm there and back: 0.29 ms), so much weaker."""

    delay_s: float
    loss_db: float

    def heard(self, wave: F64) -> F64:
        """The wave with its reflection."""
        shift = round(self.delay_s * RATE_HZ)
        whole = np.append(wave, np.zeros(shift))
        whole[shift:] += wave * amplitude(-self.loss_db)
        return whole


@dataclass
class Sensor:
    """Bursts of one sensor at the probe's low input.

    drives: burst k takes drives[order(k)]; gain scales the bare pressure; jitter_db and stretch give each burst k its
    own level and its own clock.
    """

    transducer: Transducer
    drives: list[Drive]
    order: Callable[[int], int] = lambda burst: 0
    gain: float = 1.0
    collar: Collar = Collar(291e-6, 33.0)
    jitter_db: F64 = field(default_factory=lambda: np.zeros(1))
    stretch: F64 = field(default_factory=lambda: np.ones(1))

    def wave(self, burst: int, offset_s: float) -> F64:
        """Pressure of a burst, its first sample `offset_s` after the first switching of the bridge."""
        driven = self.drives[self.order(burst) % len(self.drives)]
        bare = self.transducer.wave(driven, offset_s, float(self.stretch[burst % len(self.stretch)]))
        level = self.gain * amplitude(float(self.jitter_db[burst % len(self.jitter_db)]))
        return self.collar.heard(bare * level)

    def level_db(self, bursts: int) -> float:
        """Median level of its first bursts: the reading's level by definition."""
        return float(np.median([burst_level_db(self.wave(burst, 0.0)) for burst in range(bursts)]))

    def frequency_hz(self, bursts: int) -> float:
        """Median frequency of its first bursts."""
        return float(np.median([centre_hz(self.wave(burst, 0.0)) for burst in range(bursts)]))

    def set_level(self, level_db: float, bursts: int = 8) -> None:
        """Make the median level of the bursts what is asked."""
        self.gain *= amplitude(level_db - self.level_db(bursts))
