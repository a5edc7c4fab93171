"""Many front ends drawn within their parts' tolerances."""

from dataclasses import dataclass

import numpy as np

from hardware_notes.collar.geometry import CLASSES_HZ
from hardware_notes.frontend import response
from hardware_notes.frontend import values as table
from hardware_notes.frontend.response import Reals


@dataclass(frozen=True)
class Draws:
    """Gains in dB over draws (rows) and class frequencies (columns), deviations from nominal."""

    low_db: Reals
    high_over_low_db: Reals
    padded_over_low_db: Reals


def draw(count: int, seed: int) -> list[dict[str, float]]:
    """Draw count sets of values, each uniform within its tolerance."""
    generator = np.random.default_rng(seed)
    return [
        {
            name: part.value * (1.0 + part.tolerance * generator.uniform(-1.0, 1.0))
            for name, part in table.PARTS.items()
        }
        for _ in range(count)
    ]


def spread(count: int, seed: int) -> Draws:
    """Deviations of count drawn front ends from the nominal one, in dB."""
    sets = draw(count, seed)
    columns = {name: np.array([[values[name]] for values in sets]) for name in table.PARTS}
    frequency_hz = np.array(CLASSES_HZ)
    drawn = {pin: response.decibels(gain) for pin, gain in response.responses(columns, frequency_hz).items()}
    nominal = {
        pin: response.decibels(gain)
        for pin, gain in response.responses(table.nominal(), frequency_hz).items()
    }
    low = drawn["low"] - nominal["low"]
    return Draws(
        low,
        drawn["high"] - nominal["high"] - low,
        drawn["padded"] - nominal["padded"] - low,
    )
