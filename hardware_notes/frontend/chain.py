"""The whole chain by drawing: sensor, seat, felt, microphone, amplifiers, supplies, converter.

Each draw is one healthy sensor under one probe. The truth's ranges: makers' sheets give at least 115 dB at 30 cm and
10 Vrms, so 28.3 Vpp is the weakest drive taken, and they allow up to 150 Vpp, the strongest; in between vehicles are
taken as equally likely in dB. All ranges are uniform and independent unless a line says otherwise. Sound in felt is
hardware_notes.collar.felt's; the rest follows curbtick.hardware.frontend.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from curbtick.hardware import frontend
from curbtick.hardware.frontend import FrontEnd
from curbtick.hardware.microphones import CLASSES_HZ, Microphone
from scipy.special import j1

from hardware_notes.collar import aim, felt, geometry

# Piston: -6 dB at x = 2.21509 (Kinsler & Frey).
_HALF_LEVEL_X = 2.21509
WEAKEST_VPP, LOUDEST_VPP = 2.0 * 10.0 * math.sqrt(2.0), 150.0
# A sheet's minimum is met by the weakest part; the spread above it, and what temperature does, are from memory.
UNIT_ABOVE_MINIMUM_DB = 3.0
TEMPERATURE_DB = 1.5
FREQUENCY_OFF_HZ = 1_000.0
APERTURE_DEG = (85.0, 120.0)
SEAT_OFFSET_M, SEAT_TILT_RAD = 0.004, math.radians(5.0)
SEAT_DISTANCE_M = (0.049, 0.0515)
ECHO_DB = 0.56
PLUG_CUT_MM = 0.3
# What calibration leaves: the reference's and the seat's uncertainty, a standard deviation in dB (build.md: below 0.5).
CALIBRATED_SIGMA_DB = 0.5
PLUG_ROUNDS = 3
# The share of the rim's length that may stand open on a bumper that is not flat.
RIM_OPEN_SHARE = 0.25
# Side lobes and what the baffle's edges send round: a neighbour is not taken as weaker than this off its axis.
_SIDE_FLOOR_DB = -aim.SIDE_LOBE_DB
# Felt's formula ends at rho f / sigma = 1; where a drawn felt is more open than that, the loss goes on linearly.
_RESISTIVITY_SHARES = np.array([0.86, 1.0, 1.2])


@dataclass(frozen=True)
class Heard:
    """One healthy sensor under one probe. class_hz; level_dbfs: at the low input, rails left aside; margin_db: below
    the microphone's overload; padded_margin_db: below the end of the padded input's swing; input: what reads it.
    """

    class_hz: float
    level_dbfs: float
    margin_db: float
    padded_margin_db: float
    input: str


def _uniform(generator: np.random.Generator, low: float, high: float) -> float:
    return float(generator.uniform(low, high))


def piston_db(x: float) -> float:
    """Level of a piston off its axis over that on it, x = k a sin(theta)."""
    return 20.0 * math.log10(max(abs(2.0 * j1(x) / x), 1e-6)) if x > 1e-6 else 0.0


def aperture_x(aperture_deg: float) -> float:
    """k a of a sensor from its total -6 dB beam."""
    return _HALF_LEVEL_X / math.sin(math.radians(aperture_deg / 2.0))


@lru_cache(maxsize=4096)
def _felt_line(frequency_khz: float, plug_um: int) -> tuple[float, float]:
    """Loss over the share of the nominal flow resistivity as a straight line: (slope, loss at 0)."""
    frequency_hz = frequency_khz * 1e3
    shares = [share for share in _RESISTIVITY_SHARES if geometry.AIR_KG_PER_M3 * frequency_hz
              <= felt.RANGE[1] * geometry.FELT_RESISTIVITY * share]  # fmt: skip
    losses = [
        float(
            felt.attenuation_db(np.array([frequency_hz]), plug_um * 1e-6, geometry.FELT_RESISTIVITY * share)[
                0
            ]
        )
        for share in shares
    ]
    slope, rest = np.polyfit(shares, losses, 1)
    return float(slope), float(rest)


def felt_db(frequency_hz: float, plug_mm: float, resistivity_share: float) -> float:
    """Loss of a plug whose felt has so much of the nominal flow resistivity; frequency to 0.1 kHz, plug to 10 um."""
    slope, rest = _felt_line(round(frequency_hz * 1e-3, 1), 10 * round(100.0 * plug_mm))
    return slope * resistivity_share + rest


def sensor_db(generator: np.random.Generator) -> float:
    """A healthy sensor's level at 30 cm: its drive, its own sensitivity, the temperature."""
    drive = 20.0 * math.log10(LOUDEST_VPP / WEAKEST_VPP)
    above = _uniform(generator, 0.0, drive) + _uniform(generator, 0.0, UNIT_ABOVE_MINIMUM_DB)
    return geometry.SENSOR_DB_SPL + above + _uniform(generator, -TEMPERATURE_DB, TEMPERATURE_DB)


def seat_db(generator: np.random.Generator) -> float:
    """What distance, aim and the collar's echoes do to the level at the collar's end."""
    distance = _uniform(generator, *SEAT_DISTANCE_M)
    offset, tilt = _uniform(generator, 0.0, SEAT_OFFSET_M), _uniform(generator, 0.0, SEAT_TILT_RAD)
    x = aperture_x(_uniform(generator, *APERTURE_DEG)) * math.sin(math.atan2(offset, distance) + tilt)
    spreading = 20.0 * math.log10(geometry.SENSOR_DISTANCE_M / math.hypot(distance, offset))
    return spreading + piston_db(x) + _uniform(generator, -ECHO_DB, ECHO_DB)


@dataclass(frozen=True)
class Probe:
    """A probe. resistivity_share: of its felt; trim_db: what calibration takes off the shown level, by class."""

    front_end: FrontEnd
    resistivity_share: float
    plug_mm: float
    trim_db: Mapping[float, float]

    def error_db(self, class_hz: float, plug_mm: float) -> float:
        """How much more it shows than the nominal probe at a class, with a plug of some length."""
        microphone = self.front_end.microphone
        nominal = frontend.of(microphone).dbfs(0.0, "low", class_hz) - felt_db(
            class_hz, microphone.plug_mm, 1.0
        )
        own = self.front_end.dbfs(0.0, "low", class_hz) - felt_db(class_hz, plug_mm, self.resistivity_share)
        return own - nominal


def built(generator: np.random.Generator, microphone: Microphone) -> Probe:
    """Draw a probe that nobody has calibrated."""
    share = _uniform(generator, 1.0 - geometry.FELT_TOLERANCE, 1.0 + geometry.FELT_TOLERANCE)
    plug_mm = microphone.plug_mm + _uniform(generator, -PLUG_CUT_MM, PLUG_CUT_MM)
    return Probe(frontend.drawn(generator, microphone), share, plug_mm, dict.fromkeys(CLASSES_HZ, 0.0))


def calibrated(generator: np.random.Generator, given: Probe) -> Probe:
    """The same probe after calibration.

    Its plug is made longer, never shorter, until the class that reads highest reads as the nominal probe's; what each
    class still shows too much or too little is known to CALIBRATED_SIGMA_DB and taken off.
    """
    plug_mm = given.plug_mm
    for _ in range(PLUG_ROUNDS):
        worst = max(CLASSES_HZ, key=lambda hz: given.error_db(hz, plug_mm))
        slope = felt_db(worst, plug_mm + 1.0, given.resistivity_share) - felt_db(
            worst, plug_mm, given.resistivity_share
        )
        plug_mm = max(given.plug_mm, plug_mm + given.error_db(worst, plug_mm) / slope)
    left = {
        hz: given.error_db(hz, plug_mm) + float(generator.normal(0.0, CALIBRATED_SIGMA_DB))
        for hz in CLASSES_HZ
    }
    return Probe(given.front_end, given.resistivity_share, plug_mm, left)


def heard(generator: np.random.Generator, given: Probe, class_hz: float) -> Heard:
    """Draw a healthy sensor of a class under a probe."""
    frequency_hz = class_hz + _uniform(generator, -FREQUENCY_OFF_HZ, FREQUENCY_OFF_HZ)
    front_end = given.front_end
    at_end = sensor_db(generator) + seat_db(generator)
    at_microphone = at_end - felt_db(frequency_hz, given.plug_mm, given.resistivity_share)
    shown = front_end.dbfs(at_microphone, "low", frequency_hz)
    # Overload is a limit of the microphone's output: where it hears better, less sound reaches it.
    more = max(0.0, front_end.microphone_db(frequency_hz) - front_end.microphone.sensitivity_db.nominal)
    padded = front_end.dbfs(at_microphone, "padded", frequency_hz)
    return Heard(
        class_hz=class_hz,
        level_dbfs=shown - given.trim_db[class_hz],
        margin_db=front_end.overload_db - more - at_microphone,
        padded_margin_db=front_end.clip_dbfs("padded") - padded,
        input="low" if shown < front_end.clip_dbfs("low") else "padded",
    )


def shading_db(aperture_deg: float, rim_open_share: float, frequency_hz: float, neighbour_m: float) -> float:
    """How far a neighbour stays below the held sensor: the way, its side level in the bumper's plane, the rim's felt.

    The open part of the rim passes sound unweakened, the pressed part through its felt, both in step (the worst).
    """
    way = 20.0 * math.log10(neighbour_m / geometry.LENGTH_M)
    side = max(piston_db(aperture_x(aperture_deg)), _SIDE_FLOOR_DB)
    one = np.array([frequency_hz])
    rim_db = float(felt.decibels_per_metre(one, geometry.FELT_RESISTIVITY)[0]) * geometry.RIM_WIDTH_M
    passed = (1.0 - rim_open_share) * 10.0 ** (-rim_db / 20.0) + rim_open_share
    return way - side - 20.0 * math.log10(passed)


def drawn_shading_db(generator: np.random.Generator, class_hz: float) -> float:
    """Draw a neighbour: aperture, how much of the rim stands open, and how it differs from the held sensor's unit."""
    aperture = _uniform(generator, *APERTURE_DEG)
    unit = _uniform(generator, -UNIT_ABOVE_MINIMUM_DB, UNIT_ABOVE_MINIMUM_DB)
    open_share = _uniform(generator, 0.0, RIM_OPEN_SHARE)
    return shading_db(aperture, open_share, class_hz, geometry.NEIGHBOUR_M) - unit


def rim_open_limit(aperture_deg: float, frequency_hz: float, shading_least_db: float) -> float:
    """The share of the rim that may stand open until the shading falls to its bound."""
    shares = np.linspace(0.0, 1.0, 1001)
    kept = [
        s
        for s in shares
        if shading_db(aperture_deg, float(s), frequency_hz, geometry.NEIGHBOUR_M) >= shading_least_db
    ]
    return float(max(kept)) if kept else 0.0


def pressed_db() -> float:
    """The weakest healthy sensor at the collar's end, for a check by hand."""
    return aim.pressed_level_db_spl()
