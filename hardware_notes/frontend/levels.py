"""Sound pressure to dBFS at each pin, with the collar on and off."""

import math

import numpy as np
from curbtick.hardware import frontend
from curbtick.hardware.frontend import FrontEnd
from curbtick.hardware.microphones import FIRST, Microphone

from hardware_notes.collar import aim, felt
from hardware_notes.frontend import chain

MM = 1e-3


def nominal(microphone: Microphone = FIRST) -> FrontEnd:
    """The nominal front end with a microphone."""
    return frontend.of(microphone)


def plug_m(microphone: Microphone = FIRST) -> float:
    """The felt before a microphone."""
    return microphone.plug_mm * MM


def at_microphone_db_spl(frequency_hz: float, microphone: Microphone = FIRST) -> float:
    """The weakest healthy sensor's level at the microphone, collar on (collar/geometry.py: 115 dB at 30 cm)."""
    loss = felt.attenuation_db(np.array([frequency_hz]), plug_m=plug_m(microphone))
    return aim.pressed_level_db_spl() - float(loss[0])


def above_weakest_db() -> float:
    """How far the loudest healthy sensor stands above the weakest: its drive, and its own sensitivity."""
    return 20.0 * math.log10(chain.LOUDEST_VPP / chain.WEAKEST_VPP) + chain.UNIT_ABOVE_MINIMUM_DB


def healthy_dbfs(frequency_hz: float, microphone: Microphone = FIRST, share: float = 0.0) -> float:
    """A healthy sensor's level at the low pin, collar on; share: 0 the weakest, 0.5 the middle, 1 the loudest."""
    level = at_microphone_db_spl(frequency_hz, microphone) + share * above_weakest_db()
    return nominal(microphone).dbfs(level, "low", frequency_hz)


def peak_v(level_db_spl: float, frequency_hz: float, microphone: Microphone = FIRST) -> float:
    """The microphone's peak voltage at a tone of so many dB SPL."""
    dbv = level_db_spl - 94.0 + nominal(microphone).microphone_db(frequency_hz) + frontend.SINE_PEAK_DB
    return float(10.0 ** (dbv / 20.0))


def floor_dbfs(chip: str, microphone: bool = True) -> float:
    """The floor over 30-80 kHz at the high pin: front end and ADC, with the first microphone or without."""
    return nominal().floor_dbfs(chip, live=microphone)
