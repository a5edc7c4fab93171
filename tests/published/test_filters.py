"""Filters and noise of the front end against handbook forms and scipy."""

import math

import numpy as np
import pytest
from curbtick.hardware import noise, response
from curbtick.hardware.values import SIGNAL
from scipy import signal

from hardware_notes.collar import aim


def _ideal(frequency_hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    return 2j * np.pi * frequency_hz, np.full(len(frequency_hz), 1e12 + 0j)


def test_multiple_feedback_stage_is_the_handbook_second_order() -> None:
    """f0 = 1/(2 pi sqrt(R2 R3 C1 C2)), gain R2/R1 and Q of the multiple-feedback stage.

    Zumbahlen, Linear Circuit Design Handbook, chapter 8 (from memory); the response is scipy's. The
    amplifier's DC gain of 1e6 is what is left of a difference.
    """
    r1, r2, r3, c1, c2 = (SIGNAL[name].si for name in ("Rb1", "Rb2", "Rb3", "Cb1", "Cb2"))
    w0 = 1.0 / math.sqrt(r2 * r3 * c1 * c2)
    q = math.sqrt(c1 / c2) / (math.sqrt(r3 / r2) + math.sqrt(r2 / r3) + math.sqrt(r2 * r3) / r1)
    frequency_hz = np.geomspace(1e3, 1e6, 200)
    expected = signal.freqs([r2 / r1 * w0**2], [1.0, w0 / q, w0**2], worN=2 * np.pi * frequency_hz)[1]
    s, opamp = _ideal(frequency_hz)
    assert np.allclose(-response.multiple_feedback(r1, r2, r3, c1, c2, opamp, s), expected, rtol=1e-8)


def test_filter_is_a_chebyshev() -> None:
    """Both stages together against scipy.signal.cheby1 of order 4: the nearest standard values cost 0.15 dB."""
    frequency_hz = np.linspace(20e3, 85e3, 200)
    s, opamp = _ideal(frequency_hz)
    both = 1.0
    for letter in "cd":
        parts = [SIGNAL[f"{kind}{letter}{place}"].si for kind, place in ("R1", "R2", "R3", "C1", "C2")]
        both = both * response.multiple_feedback(*parts, opamp, s)
    numerator, denominator = signal.cheby1(4, 0.1, 2 * np.pi * 92e3, analog=True)
    ideal = signal.freqs(numerator, denominator, worN=2 * np.pi * frequency_hz)[1]
    difference = response.decibels(both) - response.decibels(ideal)
    assert np.ptp(difference) / 2 < 0.15


def test_gain_stage_at_its_ends() -> None:
    """1 + Rf/Rg well above its corner, 1 well below (Linear Circuit Design Handbook, chapter 1; from memory)."""
    s, opamp = _ideal(np.array([0.01, 1e6]))
    gain = np.abs(response.gain_stage(1000.0, 3000.0, 47e-9, opamp, s))
    assert gain == pytest.approx([1.0, 4.0], rel=1e-4)


def test_finite_amplifier_halves_the_gain_where_its_loop_gain_is_one() -> None:
    """A non-inverting stage of gain G is 3.01 dB down at GBW / G (single-pole amplifier, handbook; from memory)."""
    frequency_hz = np.array([20e6 / 4.0])
    s = 2j * np.pi * frequency_hz
    opamp = response.open_loop({"GBW": 20e6}, s)
    gain = response.gain_stage(1000.0, 3000.0, 1.0, opamp, s)
    assert response.decibels(gain)[0] - 20 * math.log10(4.0) == pytest.approx(-3.01, abs=0.01)


def test_johnson_noise_of_one_kilohm() -> None:
    """A kilohm has 4.06 nV per root Hz at 25 C (Nyquist 1928: 4kTR; the number is in every handbook, from memory)."""
    assert math.sqrt(noise.johnson(1000.0)) * 1e9 == pytest.approx(4.06, abs=0.01)


def test_quantisation_noise_of_twelve_bits_and_of_the_adc() -> None:
    """6.02 N + 1.76 dB: 74.0 for 12 bits and 54.1 for 8.7 (CHECK value), over half the sampling rate."""
    share_db = 10 * math.log10(50.0 / 125.0)
    assert noise.adc_dbfs(12) - share_db == pytest.approx(-74.0, abs=0.05)
    assert noise.adc_dbfs(8.7) - share_db == pytest.approx(-54.1, abs=0.05)


def test_a_weighting() -> None:
    """IEC 61672-1 table: 0 dB at 1 kHz, -19.1 at 100 Hz, +1.0 at 4 kHz, -2.5 at 10 kHz (from memory)."""
    level = 10 * np.log10(noise.a_weighting_power(np.array([1e3, 100.0, 4e3, 10e3])))
    assert level == pytest.approx([0.0, -19.1, 1.0, -2.5], abs=0.1)


def test_piston_directivity() -> None:
    """A 14 mm face 10 degrees off loses 0.85 dB at 40 kHz and 2.6 at 68 kHz; x = 1.61634 is -3 dB (Kinsler & Frey)."""
    ten = np.radians(np.array([10.0]))
    assert aim.directivity_db(ten, 40e3)[0] == pytest.approx(-0.85, abs=0.05)
    assert aim.directivity_db(ten, 68e3)[0] == pytest.approx(-2.6, abs=0.05)
    k_per_hz = 2 * np.pi / 343.2
    angle = np.arcsin(np.array([1.61634 / (k_per_hz * 40e3 * 0.007)]))
    assert aim.directivity_db(angle, 40e3)[0] == pytest.approx(-3.01, abs=0.01)


def test_spreading() -> None:
    """6.02 dB per doubling; 115 dB at 30 cm is 130.6 dB at 50 mm (published sensor level; spherical spreading)."""
    assert aim.spreading_db(np.array([0.1]))[0] == pytest.approx(-6.02, abs=0.01)
    assert aim.pressed_level_db_spl() == pytest.approx(130.56, abs=0.01)
