"""The level against distance and aim, the neighbours, and the collar's own echoes.

Spherical spreading; the circular piston's directivity 2 J1(x) / x, x = k a sin(theta) (Kinsler & Frey).
"""

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import j1

from hardware_notes.collar import felt
from hardware_notes.collar import geometry as collar

# How far a piston's first side lobe lies below its axis (Kinsler & Frey; value by scipy).
SIDE_LOBE_DB = 17.57

Reals = npt.NDArray[np.floating[Any]]


def spreading_db(distance_m: Reals) -> Reals:
    """Level over that at the collar's length."""
    result: Reals = -20.0 * np.log10(distance_m / collar.LENGTH_M)
    return result


def directivity_db(angle_rad: Reals, frequency_hz: float, radius_m: float = collar.FACE_RADIUS_M) -> Reals:
    """Level of a piston off its axis over that on it, at most 0."""
    x = 2.0 * np.pi * frequency_hz / collar.SOUND_M_PER_S * radius_m * np.abs(np.sin(angle_rad))
    small = x < 1e-6
    safe = np.where(small, 1.0, x)
    gain = np.where(small, 1.0, 2.0 * j1(safe) / safe)
    result: Reals = 20.0 * np.log10(np.maximum(np.abs(gain), 1e-6))
    return result


def offset_db(offset_m: Reals, frequency_hz: float) -> Reals:
    """Level with the collar's axis beside the sensor's centre: longer way and off the sensor's axis."""
    distance = np.hypot(collar.LENGTH_M, offset_m)
    return spreading_db(distance) + directivity_db(np.arctan2(offset_m, collar.LENGTH_M), frequency_hz)


def pressed_level_db_spl() -> float:
    """A healthy sensor's level at the collar's end before the attenuator: spreading alone."""
    return collar.SENSOR_DB_SPL + 20.0 * math.log10(collar.SENSOR_DISTANCE_M / collar.LENGTH_M)


def wall_loss_db(frequency_hz: float) -> float:
    """Mass law of the collar's wall, normal incidence: 20 log10(f m) - 42 dB (Fahy; from memory)."""
    return 20.0 * math.log10(frequency_hz * collar.WALL_M * collar.WALL_KG_PER_M3) - 42.0


def neighbour_db(frequency_hz: float) -> dict[str, float]:
    """What stands between a neighbour's burst and the collar, over the held sensor's own level, in dB.

    The way: along the bumper, then under the pressed felt rim. Along the bumper a piston's side lobes are
    at most 17.57 dB down, which is taken for all of them.
    """
    way_db = 20.0 * math.log10(collar.NEIGHBOUR_M / collar.LENGTH_M)
    rim = felt.decibels_per_metre(np.array([frequency_hz]), collar.FELT_RESISTIVITY)[0] * collar.RIM_WIDTH_M
    return {
        "spreading": way_db,
        "side_lobe": SIDE_LOBE_DB,
        "rim": float(rim),
        "total": way_db + SIDE_LOBE_DB + float(rim),
        "wall": wall_loss_db(frequency_hz) + way_db + SIDE_LOBE_DB,
    }


def echo_db(frequency_hz: float) -> dict[str, float]:
    """The collar's own echoes over the direct sound: off the felt at the end and back from the face; off the lining."""
    one = np.array([frequency_hz])
    end = felt.reflection_db(one, collar.PLUG_M)[0] - 20.0 * math.log10(3.0)
    half = collar.LENGTH_M / 2.0
    bore = collar.BORE_RADIUS_M
    angle = math.atan2(bore, half)
    way_db = -20.0 * math.log10(math.hypot(half, bore) / half)
    lining = felt.reflection_db(one, collar.LINING_M, math.sin(angle))[0]
    side = way_db + lining + directivity_db(np.array([angle]), frequency_hz)[0]
    return {"end": float(end), "lining": float(side)}


def ripple_db(echo: dict[str, float]) -> float:
    """The most that the echoes add to the level, all in step."""
    return 20.0 * math.log10(1.0 + sum(10.0 ** (level / 20.0) for level in echo.values()))


def echo_delay_us() -> float:
    """When the first echo off the end comes: within a burst of 300 us and more."""
    return 2.0 * collar.LENGTH_M / collar.SOUND_M_PER_S * 1e6
