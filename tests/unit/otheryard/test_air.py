"""Air and beams against published values."""

import numpy as np
import pytest

from tests.bench.otheryard.bumper.setting import FACE_RADIUS_M
from tests.bench.otheryard.physics.air import (
    absorption_db_per_m,
    piston_loss_db,
    speed_m_per_s,
    travel_loss_db,
)
from tests.bench.otheryard.seal.field import Tone, Track

# ISO 9613-1, dB/m at 101.325 kPa and 50 %RH; four implementations agree (PyPI pyfar among them).
ABSORPTION = {
    0: (0.1721, 0.2159, 0.2533, 0.4498, 0.5596, 0.7240, 0.9190, 1.1933),
    20: (0.1588, 0.3267, 0.5242, 1.3182, 1.5950, 1.9173, 2.2287, 2.6060),
    40: (0.0904, 0.1789, 0.3011, 1.0936, 1.5255, 2.1364, 2.8090, 3.6750),
}
KHZ = (10, 15, 20, 40, 48, 58, 68, 80)


@pytest.mark.parametrize("temperature_c", ABSORPTION)
def test_absorption_is_that_of_iso_9613_1(temperature_c: int) -> None:
    own = [absorption_db_per_m(khz * 1e3, temperature_c, 50) for khz in KHZ]
    assert own == pytest.approx(ABSORPTION[temperature_c], abs=6e-4)


def test_speed_of_sound_is_that_of_iso_9613_1() -> None:
    assert [speed_m_per_s(t) for t in (0, 20, 40)] == pytest.approx([331.286, 343.200, 354.714], abs=2e-3)


def test_spreading_is_6_02_db_for_a_doubling() -> None:
    absorbed_db = 1.5 * absorption_db_per_m(48e3, 20, 50)
    assert travel_loss_db(3.0, 1.5, 48e3, 20) - absorbed_db == pytest.approx(6.0206, abs=1e-3)


@pytest.mark.parametrize(("x", "loss_db"), [(1.61634, 3.0103), (2.21509, 6.0206)])
def test_piston_loses_as_kinsler_and_frey_say(x: float, loss_db: float) -> None:
    ka_per_m = 2 * np.pi * 40e3 / speed_m_per_s(20)
    angle_deg = np.degrees(np.arcsin(x / (ka_per_m * 0.02)))
    assert piston_loss_db(0.02, angle_deg, 40e3, 20) == pytest.approx(loss_db, abs=1e-3)


@pytest.mark.parametrize(("hz", "loss_db"), [(40e3, 0.85), (68e3, 2.6)])
def test_a_14_mm_face_aimed_10_degrees_off(hz: float, loss_db: float) -> None:
    """Kinsler & Frey, computed with scipy."""
    assert piston_loss_db(FACE_RADIUS_M, 10, hz, 20) == pytest.approx(loss_db, abs=0.1)


def test_diffuse_field_has_rayleighs_spread() -> None:
    """Level of a tone in a diffuse field: standard deviation 5.57 dB (that of the logarithm of an exponential)."""
    track = Track(np.array([0.0]), np.array([0.0]), np.array([-60.0]), 1.0)
    levels_db = []
    for seed in range(12):
        metres = np.arange(2000) * 0.05
        levels_db.append(20 * np.log10(np.abs(Tone(15e3, track, seed).diffuse(metres))))
    assert np.std(levels_db) == pytest.approx(5.57, abs=0.35)
    power = 10 ** (np.array(levels_db) / 10)
    assert power.mean() == pytest.approx(1.0, abs=0.06)
    assert np.mean(power > 2.3026) == pytest.approx(0.10, abs=0.02)
