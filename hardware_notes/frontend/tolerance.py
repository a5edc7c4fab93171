"""Many front ends drawn within their parts' tolerances."""

from dataclasses import dataclass

import numpy as np
from curbtick.hardware import frontend, response
from curbtick.hardware.microphones import CLASSES_HZ
from curbtick.hardware.response import Reals
from curbtick.hardware.values import nominal


@dataclass(frozen=True)
class Draws:
    """Gains in dB over draws (rows) and class frequencies (columns), deviations from nominal."""

    low_db: Reals
    high_over_low_db: Reals
    padded_over_low_db: Reals


def draw(count: int, seed: int) -> list[dict[str, float]]:
    """Draw count sets of values, each uniform within its tolerance."""
    generator = np.random.default_rng(seed)
    return [frontend.drawn_values(generator) for _ in range(count)]


def spread(count: int, seed: int) -> Draws:
    """Deviations of count drawn front ends from the nominal one, in dB."""
    sets = draw(count, seed)
    columns = {name: np.array([[values[name]] for values in sets]) for name in sets[0]}
    frequency_hz = np.array(CLASSES_HZ)
    drawn = {pin: response.decibels(gain) for pin, gain in response.responses(columns, frequency_hz).items()}
    middle = {
        pin: response.decibels(gain) for pin, gain in response.responses(nominal(), frequency_hz).items()
    }
    low = drawn["low"] - middle["low"]
    return Draws(
        low,
        drawn["high"] - middle["high"] - low,
        drawn["padded"] - middle["padded"] - low,
    )
