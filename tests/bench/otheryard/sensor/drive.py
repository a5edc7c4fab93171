"""What a driver puts on the transducer: square waves of N cycles, swept, hopping or phase-coded.

A drive is the instants at which the bridge switches, and by how much: exact times, no samples.
"""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.types import F64


@dataclass(frozen=True)
class Piece:
    """A stretch of square wave: `cycles` periods from `start_hz` to `end_hz`, inverted or not."""

    cycles: float
    start_hz: float
    end_hz: float
    inverted: bool = False

    @property
    def seconds(self) -> float:
        """How long it lasts: a linear sweep has the mean of both frequencies."""
        return 2 * self.cycles / (self.start_hz + self.end_hz)


@dataclass(frozen=True)
class Drive:
    """Switching instants in seconds, and the step at each; the bridge rests at 0 before and after."""

    times_s: F64
    steps: F64

    @property
    def seconds(self) -> float:
        """From the first to the last switching."""
        return float(self.times_s[-1])


def _half_cycles_s(piece: Piece) -> F64:
    """When each half cycle of a piece begins: phase = f0 t + (f1 - f0) t^2 / 2T, solved for t."""
    halves = np.arange(round(2 * piece.cycles)) / 2
    slope = (piece.end_hz - piece.start_hz) / piece.seconds
    if abs(slope) < 1e-9:
        return np.asarray(halves / piece.start_hz)
    return np.asarray((np.sqrt(piece.start_hz**2 + 2 * slope * halves) - piece.start_hz) / slope)


def drive(*pieces: Piece) -> Drive:
    """The pieces one after the other."""
    times, states, start_s = [], [], 0.0
    for piece in pieces:
        halves_s = _half_cycles_s(piece)
        sign = -1.0 if piece.inverted else 1.0
        times.append(start_s + halves_s)
        states.append(sign * (1 - 2 * (np.arange(len(halves_s)) % 2)))
        start_s += piece.seconds
    all_times = np.append(np.concatenate(times), start_s)
    all_states = np.append(np.concatenate(states), 0.0)
    steps = np.diff(all_states, prepend=0.0)
    switched = steps != 0
    return Drive(all_times[switched], steps[switched])


def tone(frequency_hz: float, cycles: int) -> Drive:
    """A plain burst."""
    return drive(Piece(cycles, frequency_hz, frequency_hz))


def chirp(start_hz: float, end_hz: float, seconds: float) -> Drive:
    """A linear sweep."""
    return drive(Piece(round(seconds * (start_hz + end_hz) / 2), start_hz, end_hz))


def coded(frequency_hz: float, cycles_a_chip: int, chips: tuple[int, ...]) -> Drive:
    """A burst whose phase is turned over wherever a chip is -1 (binary phase code)."""
    return drive(*(Piece(cycles_a_chip, frequency_hz, frequency_hz, chip < 0) for chip in chips))
