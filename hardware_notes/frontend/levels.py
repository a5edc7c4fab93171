"""Sound pressure to dBFS at each pin, with the collar on and off."""

import numpy as np
from curbtick.hardware import frontend
from curbtick.hardware.frontend import FrontEnd
from curbtick.hardware.microphones import FIRST, Microphone

from hardware_notes.collar import aim, felt, geometry

MM = 1e-3


def nominal(microphone: Microphone = FIRST) -> FrontEnd:
    """The nominal front end with a microphone."""
    return frontend.of(microphone)


def plug_m(microphone: Microphone = FIRST) -> float:
    """The felt before a microphone: the collar's plug and what this microphone needs beyond it."""
    return geometry.PLUG_M + microphone.plug_extra_mm * MM


def at_microphone_db_spl(frequency_hz: float, microphone: Microphone = FIRST) -> float:
    """The weakest healthy sensor's level at the microphone, collar on (collar/geometry.py: 115 dB at 30 cm)."""
    loss = felt.attenuation_db(np.array([frequency_hz]), plug_m=plug_m(microphone))
    return aim.pressed_level_db_spl() - float(loss[0])


def healthy_dbfs(frequency_hz: float, microphone: Microphone = FIRST) -> float:
    """The weakest healthy sensor's level at the low pin, collar on."""
    return nominal(microphone).dbfs(at_microphone_db_spl(frequency_hz, microphone), "low", frequency_hz)


def peak_v(level_db_spl: float, frequency_hz: float, microphone: Microphone = FIRST) -> float:
    """The microphone's peak voltage at a tone of so many dB SPL."""
    dbv = level_db_spl - 94.0 + nominal(microphone).microphone_db(frequency_hz) + frontend.SINE_PEAK_DB
    return float(10.0 ** (dbv / 20.0))


def floor_dbfs(chip: str, microphone: bool = True) -> float:
    """The floor over 30-80 kHz at the high pin: front end and ADC, with the first microphone or without."""
    return nominal().floor_dbfs(chip, live=microphone)
