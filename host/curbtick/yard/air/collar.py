"""The collar on the probe's nose: distance, aim, attenuation, shading and its own reflections.

Its attenuator is chosen so that a healthy sensor on its axis at 50 mm reads -8 dBFS on the low input; what differs
from that is computed: spherical spreading and absorption over 45-60 mm, a piston of 7 mm radius seen up to 10 degrees
off its axis. A neighbour is shaded by at least 35 dB, measured as the collar is specified: a healthy neighbour
against a healthy held sensor. Reflections: between the sensor's face and the microphone's (two lengths of the collar
farther, 12 to 20 dB down each time) and from its lined wall (0.02 to 0.09 ms later, 16 to 26 dB down); the levels are
assumptions for a lined tube, not measurements.
"""

from dataclasses import dataclass

import numpy as np

from curbtick.yard.air.acoustics import Air, path_loss_db, piston_loss_db, travel_us
from curbtick.yard.front_end.timebase import ticks_of_us

NOMINAL_M = 0.050
FACE_RADIUS_M = 0.007
HEALTHY_DBFS = -8.0
SHADING_DB = 35.0


@dataclass(frozen=True)
class Tap:
    """A reflection: delay in ticks after the direct sound, gain of its pressure (negative turns it over)."""

    delay_ticks: int
    gain: float


@dataclass(frozen=True)
class Seat:
    """How the collar sits on the sensor: distance in metres (0.045 to 0.060), aim in degrees off axis (0 to 10)."""

    distance_m: float = NOMINAL_M
    aim_deg: float = 0.0


@dataclass(frozen=True)
class Inside:
    """The collar's own sound: losses in dB of its two face-to-face echoes and its wall echoes' (us, dB)."""

    face_db: tuple[float, ...] = (15.0, 31.0)
    wall: tuple[tuple[float, float], ...] = ((35.0, 20.0), (70.0, 24.0))


def seat_loss_db(frequency_hz: float, seat: Seat, air: Air) -> float:
    """Return what a seat costs against 50 mm on the axis, in dB (below zero where the sensor is nearer)."""
    aim = piston_loss_db(frequency_hz, FACE_RADIUS_M, seat.aim_deg, air)
    return path_loss_db(frequency_hz, seat.distance_m, NOMINAL_M, air) + aim


def held_dbfs(deviation_db: float, frequency_hz: float, seat: Seat, air: Air) -> float:
    """Return the level on the low input of a sensor deviation_db stronger than a nominal healthy one."""
    return HEALTHY_DBFS + deviation_db - seat_loss_db(frequency_hz, seat, air)


def neighbour_dbfs(deviation_db: float, shading_db: float, farther_db: float) -> float:
    """Return the level of a neighbour in the collar.

    shading_db: at least 35 by the collar's specification; farther_db: what a neighbour beyond the next one loses more.
    """
    return HEALTHY_DBFS + deviation_db - max(shading_db, SHADING_DB + max(deviation_db, 0.0)) - farther_db


def reflections(inside: Inside, seat: Seat, air: Air) -> tuple[Tap, ...]:
    """Return the taps of a collar's own reflections."""
    round_trip_us = travel_us(2.0 * seat.distance_m, air)
    taps = [
        Tap(ticks_of_us(round_trip_us * turn), 10.0 ** (-loss_db / 20.0))
        for turn, loss_db in enumerate(inside.face_db, start=1)
    ]
    taps += [Tap(ticks_of_us(delay_us), -(10.0 ** (-loss_db / 20.0))) for delay_us, loss_db in inside.wall]
    return tuple(taps)


def random_inside(random: np.random.Generator) -> Inside:
    """Draw a collar's reflections from the ranges above."""
    first_db = float(random.uniform(12.0, 20.0))
    walls = tuple(
        (float(random.uniform(20.0, 90.0)), float(random.uniform(16.0, 26.0)))
        for _ in range(random.integers(1, 4))
    )
    return Inside((first_db, 2.0 * first_db), walls)


def random_seat(random: np.random.Generator) -> Seat:
    """Draw how a technician seats the collar: 45-60 mm, aim up to 10 degrees."""
    return Seat(float(random.uniform(0.045, 0.060)), float(random.uniform(0.0, 10.0)))
