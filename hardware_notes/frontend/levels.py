"""Sound pressure to dBFS at each pin, with the collar on and off."""

import math

import numpy as np

from hardware_notes.collar import aim, felt
from hardware_notes.frontend import noise, response
from hardware_notes.frontend import values as table

SINE_PEAK_DB = 20.0 * math.log10(math.sqrt(2.0))


def gain_db(pin: str, frequency_hz: float) -> float:
    """Nominal gain from the microphone's voltage to a pin."""
    return float(response.decibels(response.responses(table.nominal(), np.array([frequency_hz]))[pin])[0])


def dbfs(level_db_spl: float, pin: str, frequency_hz: float) -> float:
    """Level at a pin of a tone of so many dB SPL at the microphone, rails left aside."""
    peak_dbv = level_db_spl - 94.0 + table.MIC_DBV_PER_PA + SINE_PEAK_DB + gain_db(pin, frequency_hz)
    return peak_dbv - 20.0 * math.log10(table.FULL_SCALE_PEAK_V)


def full_scale_db_spl(pin: str, frequency_hz: float) -> float:
    """The tone at the microphone that fills a pin's range."""
    return -dbfs(0.0, pin, frequency_hz)


def at_microphone_db_spl(frequency_hz: float) -> float:
    """A healthy sensor's level at the microphone, collar on."""
    return aim.pressed_level_db_spl() - float(felt.attenuation_db(np.array([frequency_hz]))[0])


def healthy_dbfs(frequency_hz: float) -> float:
    """A healthy sensor's level at the low pin, collar on."""
    return dbfs(at_microphone_db_spl(frequency_hz), "low", frequency_hz)


def healthy_peak_v(frequency_hz: float) -> float:
    """The microphone's peak voltage at a healthy sensor, collar on."""
    return float(
        10.0 ** ((at_microphone_db_spl(frequency_hz) - 94.0 + table.MIC_DBV_PER_PA + SINE_PEAK_DB) / 20.0)
    )


def floor_dbfs(chip: str, microphone: bool = True) -> float:
    """The floor over 30-80 kHz at the high pin: front end and ADC, with the microphone or without."""
    frequency_hz = np.geomspace(25_000.0, 90_000.0, 400)
    values = table.nominal()
    if microphone:
        density = noise.high_density(values, frequency_hz, noise.microphone_density())
    else:
        density = noise.high_density({**values, "Rmic": 1e12}, frequency_hz)
    own = noise.in_band_dbfs(density, frequency_hz)
    return noise.add_dbfs(own, noise.adc_dbfs(noise.ENOB[chip]))
