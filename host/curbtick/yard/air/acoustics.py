"""Sound in air: speed, spreading, absorption and the directivity of a piston.

Sources: ISO 9613-1:1993 for the speed of sound and the absorption; L. E. Kinsler, A. R. Frey et al.,
Fundamentals of Acoustics, for spherical spreading and the piston.
"""

import math
from dataclasses import dataclass

from scipy.special import j1

from curbtick.air import FREEZING_KELVIN, NEPER_DB, REFERENCE_KELVIN, REFERENCE_PA, REFERENCE_SOUND_M_S

TRIPLE_POINT_KELVIN = 273.16
REFERENCE_KPA = REFERENCE_PA / 1000


@dataclass(frozen=True)
class Air:
    """The weather at the vehicle: degrees Celsius (-40 to 60), relative humidity in percent, pressure in kPa."""

    temperature_c: float = 20.0
    humidity_percent: float = 50.0
    pressure_kpa: float = REFERENCE_KPA

    @property
    def kelvin(self) -> float:
        """Temperature in kelvin."""
        return self.temperature_c + FREEZING_KELVIN


def speed_of_sound_m_s(air: Air) -> float:
    """Return the speed of sound in m/s: 343.2 sqrt(T / 293.15) (ISO 9613-1, formula A.5)."""
    return REFERENCE_SOUND_M_S * math.sqrt(air.kelvin / REFERENCE_KELVIN)


def travel_us(distance_m: float, air: Air) -> float:
    """Return the time in microseconds that sound needs for a distance in metres."""
    return distance_m / speed_of_sound_m_s(air) * 1e6


def water_vapour_percent(air: Air) -> float:
    """Return the molar concentration of water vapour in percent (ISO 9613-1, annex B)."""
    saturation = math.pow(10.0, -6.8346 * math.pow(TRIPLE_POINT_KELVIN / air.kelvin, 1.261) + 4.6151)
    return air.humidity_percent * saturation * REFERENCE_KPA / air.pressure_kpa


def _relaxation_hz(air: Air) -> tuple[float, float]:
    """Return the relaxation frequencies of oxygen and nitrogen in Hz (ISO 9613-1, formulas 3 and 4)."""
    vapour = water_vapour_percent(air)
    pressure = air.pressure_kpa / REFERENCE_KPA
    ratio = air.kelvin / REFERENCE_KELVIN
    oxygen = pressure * (24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour))
    nitrogen = (
        pressure
        / math.sqrt(ratio)
        * (9.0 + 280.0 * vapour * math.exp(-4.170 * (math.pow(ratio, -1.0 / 3.0) - 1.0)))
    )
    return oxygen, nitrogen


def absorption_db_per_m(frequency_hz: float, air: Air) -> float:
    """Return the pure-tone attenuation coefficient in dB per metre (ISO 9613-1, formula 5)."""
    oxygen_hz, nitrogen_hz = _relaxation_hz(air)
    ratio = air.kelvin / REFERENCE_KELVIN
    square = frequency_hz * frequency_hz
    classical = 1.84e-11 * REFERENCE_KPA / air.pressure_kpa * math.sqrt(ratio)
    oxygen = 0.01275 * math.exp(-2239.1 / air.kelvin) / (oxygen_hz + square / oxygen_hz)
    nitrogen = 0.1068 * math.exp(-3352.0 / air.kelvin) / (nitrogen_hz + square / nitrogen_hz)
    return NEPER_DB * square * (classical + math.pow(ratio, -2.5) * (oxygen + nitrogen))


def spreading_db(distance_m: float, reference_m: float) -> float:
    """Return the loss in dB by spherical spreading: 20 lg(distance / reference)."""
    return 20.0 * math.log10(distance_m / reference_m)


def piston_pattern(x: float) -> float:
    """Return the pressure of a baffled piston off its axis over that on it: 2 J1(x)/x, x = k a sin(angle)."""
    if abs(x) < 1e-6:
        return 1.0
    return float(2.0 * j1(x) / x)


def piston_loss_db(frequency_hz: float, radius_m: float, angle_deg: float, air: Air) -> float:
    """Return what a piston loses at an angle off its axis, in dB (0 on the axis, up to 60 in a null)."""
    wave_number = 2.0 * math.pi * frequency_hz / speed_of_sound_m_s(air)
    pattern = abs(piston_pattern(wave_number * radius_m * math.sin(math.radians(angle_deg))))
    return -20.0 * math.log10(max(pattern, 1e-3))


def path_loss_db(frequency_hz: float, distance_m: float, reference_m: float, air: Air) -> float:
    """Return spreading and absorption in dB from a reference distance to a farther one."""
    absorbed = absorption_db_per_m(frequency_hz, air) * (distance_m - reference_m)
    return spreading_db(distance_m, reference_m) + absorbed
