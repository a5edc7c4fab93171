"""The yard's physics against published values.

Sources: ISO 9613-1:1993 (table below as four implementations agree on it, and PyPI `pyfar`'s own); Kinsler & Frey,
Fundamentals of Acoustics, for the piston (its constants as scipy's Bessel function gives them); the quantisation rule
6.02 N + 1.76 dB; 8.7 effective bits from the RP2040's data sheet, section 4.9; drive cycles and their durations at
58.6 kHz from a driver IC's presets (TI SLASEC8, second-hand); the -6 dB bandwidth of a closed-face 40 kHz part (data
sheet).
"""

import math

import numpy as np
import pyfar
import pytest
from curbtick.hardware import converter
from curbtick.yard.air import acoustics, collar
from curbtick.yard.air.acoustics import Air
from curbtick.yard.front_end import inputs
from curbtick.yard.sounds import sensors
from scipy.optimize import brentq

FREQUENCIES_KHZ = (10, 15, 20, 40, 48, 58, 68, 80)
ABSORPTION_DB_PER_M = {
    0.0: (0.1721, 0.2159, 0.2533, 0.4498, 0.5596, 0.7240, 0.9190, 1.1933),
    20.0: (0.1588, 0.3267, 0.5242, 1.3182, 1.5950, 1.9173, 2.2287, 2.6060),
    40.0: (0.0904, 0.1789, 0.3011, 1.0936, 1.5255, 2.1364, 2.8090, 3.6750),
}
TABLE = [
    (temperature_c, khz, value)
    for temperature_c, row in ABSORPTION_DB_PER_M.items()
    for khz, value in zip(FREQUENCIES_KHZ, row, strict=True)
]


@pytest.mark.parametrize(("temperature_c", "khz", "db_per_m"), TABLE)
def test_absorption_is_the_standards_table(temperature_c: float, khz: int, db_per_m: float) -> None:
    assert acoustics.absorption_db_per_m(khz * 1e3, Air(temperature_c)) == pytest.approx(db_per_m, abs=6e-5)


@pytest.mark.parametrize("humidity_percent", [20.0, 50.0, 95.0])
@pytest.mark.parametrize("temperature_c", [-10.0, 5.0, 20.0, 40.0])
def test_absorption_agrees_with_pyfar(temperature_c: float, humidity_percent: float) -> None:
    frequencies_hz = np.array(FREQUENCIES_KHZ) * 1e3
    theirs = pyfar.constants.air_attenuation(temperature_c, frequencies_hz, humidity_percent / 100)[0]
    air = Air(temperature_c, humidity_percent)
    ours = [acoustics.absorption_db_per_m(frequency_hz, air) for frequency_hz in frequencies_hz]
    assert ours == pytest.approx(np.ravel(theirs).tolist(), rel=1e-4)


@pytest.mark.parametrize(("temperature_c", "m_s"), [(0.0, 331.286), (20.0, 343.200), (40.0, 354.714)])
def test_speed_of_sound(temperature_c: float, m_s: float) -> None:
    assert acoustics.speed_of_sound_m_s(Air(temperature_c)) == pytest.approx(m_s, abs=6e-4)


def test_pressure_falls_by_6_02_db_per_doubling() -> None:
    assert acoustics.spreading_db(0.6, 0.3) == pytest.approx(6.0206, abs=1e-4)


@pytest.mark.parametrize(("loss_db", "x"), [(3.0103, 1.61634), (6.0206, 2.21509)])
def test_piston_pattern(loss_db: float, x: float) -> None:
    pattern = acoustics.piston_pattern
    assert -20.0 * math.log10(pattern(x)) == pytest.approx(loss_db, abs=2e-3)


def test_pistons_first_null_and_side_lobe() -> None:
    assert brentq(acoustics.piston_pattern, 3.0, 4.5) == pytest.approx(3.83171, abs=1e-5)
    lobe = max(abs(acoustics.piston_pattern(x)) for x in np.linspace(3.9, 7.0, 3101))
    assert 20.0 * math.log10(lobe) == pytest.approx(-17.57, abs=0.005)


@pytest.mark.parametrize(("khz", "loss_db"), [(40, 0.85), (68, 2.6)])
def test_a_14_mm_face_aimed_10_degrees_off(khz: int, loss_db: float) -> None:
    ours = acoustics.piston_loss_db(khz * 1e3, collar.FACE_RADIUS_M, 10.0, Air())
    assert ours == pytest.approx(loss_db, abs=0.05)


def sine_to_rest_db(adc: inputs.Adc) -> float:
    """A full-scale sine through a converter: its power over that of all that is not the sine, least squares.

    The sine is about the middle of the codes: about the front end's rest, which is 50 codes higher, it would clip.
    """
    random = np.random.default_rng(1)
    phase = 2.0 * np.pi * 10_007.3 / 250e3 * np.arange(250_000)
    middle = 2047.5 - inputs.REST_CODE
    wave = middle + 2047.5 * np.sin(phase) + adc.noise_codes * random.standard_normal(len(phase))
    codes = adc.convert(wave.astype(np.float32)).astype(float)
    design = np.stack([np.sin(phase), np.cos(phase), np.ones_like(phase)], axis=1)
    fit = np.linalg.lstsq(design, codes, rcond=None)[0]
    rest = codes - design @ fit
    return float(20.0 * np.log10(np.hypot(fit[0], fit[1]) / math.sqrt(2.0) / rest.std()))


def test_ideal_steps_give_74_db() -> None:
    assert converter.sine_to_noise_db(12) == pytest.approx(74.0, abs=0.01)
    assert sine_to_rest_db(inputs.Adc(enob_bits=0.0, wide_codes=False)) == pytest.approx(74.0, abs=0.2)


def test_noise_of_8_7_effective_bits_gives_54_1_db() -> None:
    assert converter.sine_to_noise_db(8.7) == pytest.approx(54.134, abs=0.001)
    assert sine_to_rest_db(inputs.Adc(wide_codes=False)) == pytest.approx(54.1, abs=0.2)


def test_wide_codes_cost_a_full_scale_sine_1_to_3_db_more() -> None:
    loss_db = sine_to_rest_db(inputs.Adc(wide_codes=False)) - sine_to_rest_db(inputs.Adc())
    assert 1.0 < loss_db < 3.0


@pytest.mark.parametrize(("cycles", "us"), [(4, 68), (16, 273)])
def test_duration_of_a_drivers_presets(cycles: int, us: int) -> None:
    sensor = sensors.Sensor(58, 58_600.0, cycles=cycles)
    assert sensor.drive_s(0.0) * 1e6 == pytest.approx(us, abs=0.5)


def test_bandwidth_of_a_published_part_is_its_resonances() -> None:
    """A resonance with the tau of a 2.0 kHz bandwidth loses 6 dB 1 kHz off, as steady drive shows."""
    tau_us = sensors.decay_us_of_bandwidth(2_000.0)
    strong = [
        np.abs(
            sensors.envelope_wave(sensors.Sensor(40, 40e3, cycles=400, decay_us=tau_us), offset_hz)[39_000]
        )
        for offset_hz in (0.0, 1_000.0)
    ]
    assert 20.0 * math.log10(strong[0] / strong[1]) == pytest.approx(6.02, abs=0.05)


def test_a_published_parts_ringing_is_over_within_1_2_ms() -> None:
    """Its tau of 0.28 ms leaves less than 2 % after 1.2 ms."""
    tau_us = sensors.decay_us_of_bandwidth(2_000.0)
    assert math.exp(-1_200.0 / tau_us) < 0.02
