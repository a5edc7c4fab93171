"""Bursts of a sensor as a benchmark makes them: a resonator driven for a while, then ringing out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.bench.listening.listener import RATE_HZ


@dataclass(frozen=True)
class Shape:
    """Drive and decay of a burst in us, and how far its carrier sweeps while driven, in Hz."""

    drive_us: float = 300
    decay_us: float = 100
    sweep_hz: float = 0

    def envelope(self, time_us: np.ndarray) -> np.ndarray:
        """The envelope, 1 at its peak, at times from its start."""
        top = 1 - np.exp(-self.drive_us / self.decay_us)
        rise = (1 - np.exp(-np.maximum(time_us, 0) / self.decay_us)) / top
        fall = np.exp(-np.maximum(time_us - self.drive_us, 0) / self.decay_us)
        return np.where(time_us < 0, 0, np.where(time_us < self.drive_us, rise, fall))

    def wave(self, count: int, start: float, frequency_hz: float, phase: float) -> np.ndarray:
        """`count` samples in which the burst starts at sample `start` (a fraction counts), amplitude 1."""
        time_us = (np.arange(count) - start) / RATE_HZ * 1e6
        middle_us = np.clip(time_us, 0, self.drive_us) - self.drive_us / 2
        swept = 0.5 * self.sweep_hz * middle_us**2 / self.drive_us
        turns = (frequency_hz * (time_us - self.drive_us / 2) + swept) * 1e-6
        return self.envelope(time_us) * np.cos(2 * np.pi * turns + phase)

    def length_us(self) -> float:
        """Time within 6 dB of the peak, from a fine grid."""
        grid_us = np.arange(0, self.drive_us + 10 * self.decay_us, 0.1)
        return 0.1 * float(np.count_nonzero(self.envelope(grid_us) >= 0.5))
