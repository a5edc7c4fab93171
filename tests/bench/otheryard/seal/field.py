"""A tone in a diffuse field, heard by a wand that moves.

Many plane waves of random directions and phases add up at the microphone: moving by half a wavelength gives another
value, and its amplitude follows Rayleigh's distribution (Kuttruff, *Room Acoustics*, from memory), its level with a
standard deviation of 5.57 dB. What comes straight from an opening adds a steady part.
"""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.front.unit import HIGH_OVER_LOW_DB
from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.types import C128, F32, F64

_WAVES = 24
_STEP = 128


@dataclass(frozen=True)
class Track:
    """Mean level of the tone over time (dBFS at the high input), and how far its straight part exceeds the diffuse one.

    knots_s rise; between the knots both go in straight lines. speed_m_per_s: of the wand along the car.
    """

    knots_s: F64
    level_dbfs: F64
    straight_db: F64
    speed_m_per_s: float


@dataclass
class Tone:
    """The tone as a moving wand hears it. hz(seconds) is the player's frequency, sounding(seconds) its gain."""

    frequency_hz: float
    track: Track
    seed: int
    drift_ppm_per_s: float = 0.0
    # Gain of the player: (seconds, dB) corners, joined by straight lines; none is a steady player.
    volume: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        cosines = rng.uniform(-1, 1, _WAVES)
        self._turns_per_m = self.frequency_hz / 343.2 * cosines
        self._phases = rng.uniform(0, 2 * np.pi, _WAVES)

    def diffuse(self, metres: F64) -> C128:
        """The diffuse field along the wand's way, of mean square 1."""
        phases = 2 * np.pi * metres[:, None] * self._turns_per_m + self._phases
        return np.asarray(np.exp(1j * phases).sum(axis=1) / np.sqrt(_WAVES))

    def phasor(self, at_s: F64) -> C128:
        """Complex amplitude at these times, full scales of the low input."""
        track = self.track
        level_db = np.interp(at_s, track.knots_s, track.level_dbfs) - HIGH_OVER_LOW_DB
        if self.volume:
            level_db = level_db + np.interp(at_s, [s for s, _ in self.volume], [db for _, db in self.volume])
        ratio = 10 ** (np.interp(at_s, track.knots_s, track.straight_db) / 10)
        field = np.sqrt(ratio / (1 + ratio)) + self.diffuse(track.speed_m_per_s * at_s) / np.sqrt(1 + ratio)
        return np.asarray(10 ** (level_db / 20) * field)

    def add_to(self, page: F32, first: int) -> None:
        """Add it to a page."""
        at_s = (first + np.arange(len(page))) / RATE_HZ
        coarse = (first + np.arange(0, len(page) + _STEP, _STEP)) / RATE_HZ
        slow = self.phasor(coarse)
        cycles = self.frequency_hz * (at_s + self.drift_ppm_per_s * 1e-6 * at_s**2 / 2)
        angle = 2 * np.pi * (cycles % 1.0)
        in_phase = np.interp(at_s, coarse, slow.real) * np.cos(angle)
        page += (in_phase - np.interp(at_s, coarse, slow.imag) * np.sin(angle)).astype(np.float32)
