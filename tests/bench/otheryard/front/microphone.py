"""The microphone and what can be wrong with it."""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.types import F32

# The microphone distorts 10 % at 123 dB SPL, which is 3 dB over full scale of the low input (hardware_notes); here it
# flattens out 6 dB over full scale and is true to 0.02 dB up to full scale (our curve).
OVERLOAD = 2.0
_KNEE = 6


@dataclass(frozen=True)
class Microphone:
    """Its sensitivity and its own noise against those of a sound one (1 and 1); both 0 when nothing is connected."""

    sensitivity: float = 1.0
    own_noise: float = 1.0

    def heard(self, pressure: F32) -> F32:
        """Output for a pressure in full scales of the low input."""
        heard = pressure * np.float32(self.sensitivity)
        if np.max(np.abs(heard), initial=0) < 0.4 * OVERLOAD:
            return heard
        return np.asarray(heard / (1 + np.abs(heard / OVERLOAD) ** _KNEE) ** (1 / _KNEE), dtype=np.float32)


SOUND = Microphone()
DISCONNECTED = Microphone(0.0, 0.0)
