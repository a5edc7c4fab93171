"""Sound in air: speed, absorption, spreading, and the beam of a piston."""

import numpy as np
from scipy.special import j1

ABSOLUTE_ZERO_C = -273.15
REFERENCE_K = 293.15
TRIPLE_POINT_K = 273.16


def speed_m_per_s(temperature_c: float) -> float:
    """Speed of sound (ISO 9613-1: 343.2 m/s at 20 degrees, as the root of the absolute temperature)."""
    return 343.2 * float(np.sqrt((temperature_c - ABSOLUTE_ZERO_C) / REFERENCE_K))


def absorption_db_per_m(frequency_hz: float, temperature_c: float, humidity_percent: float) -> float:
    """Absorption of a pure tone at 101.325 kPa (ISO 9613-1, equations 3 to 5 and B.2, from memory)."""
    kelvin = temperature_c - ABSOLUTE_ZERO_C
    relative = kelvin / REFERENCE_K
    saturation = 10 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)
    water = humidity_percent * saturation
    oxygen_hz = 24 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
    nitrogen_hz = relative**-0.5 * (9 + 280 * water * np.exp(-4.170 * (relative ** (-1 / 3) - 1)))
    oxygen = 0.01275 * np.exp(-2239.1 / kelvin) / (oxygen_hz + frequency_hz**2 / oxygen_hz)
    nitrogen = 0.1068 * np.exp(-3352.0 / kelvin) / (nitrogen_hz + frequency_hz**2 / nitrogen_hz)
    classical = 1.84e-11 * relative**0.5
    return float(8.686 * frequency_hz**2 * (classical + relative**-2.5 * (oxygen + nitrogen)))


def travel_loss_db(distance_m: float, from_m: float, frequency_hz: float, temperature_c: float) -> float:
    """Spherical spreading and absorption on the way from `from_m` to `distance_m`, at 50 % humidity."""
    spreading = 20 * np.log10(distance_m / from_m)
    return float(spreading + (distance_m - from_m) * absorption_db_per_m(frequency_hz, temperature_c, 50))


def piston_loss_db(radius_m: float, angle_deg: float, frequency_hz: float, temperature_c: float) -> float:
    """What a piston in a baffle loses off its axis, as a positive number: 2 J1(x)/x (Kinsler & Frey)."""
    x = 2 * np.pi * frequency_hz / speed_m_per_s(temperature_c) * radius_m * np.sin(np.radians(angle_deg))
    if abs(x) < 1e-6:
        return 0.0
    return float(-20 * np.log10(abs(2 * j1(x) / x)))
