"""The chain's draws: each step by hand, calibration, and what the bench makes of limits."""

import math
from dataclasses import replace

import numpy as np
import pytest
from curbtick.hardware.microphones import CLASSES_HZ, FIRST, MICROPHONES, SECOND, Microphone

from hardware_notes.collar import felt
from hardware_notes.frontend import chain
from tests.bench import chain as bench


def test_drive_spans_the_makers_figures() -> None:
    """10 Vrms is 28.3 Vpp; 150 Vpp is 14.5 dB more."""
    generator = np.random.default_rng(1)
    drawn = [chain.sensor_db(generator) for _ in range(4000)]
    assert min(drawn) == pytest.approx(113.5, abs=1.0) and max(drawn) == pytest.approx(134.0, abs=1.0)
    assert float(np.mean(drawn)) == pytest.approx(115.0 + 14.49 / 2 + 1.5, abs=0.3)


@pytest.mark.parametrize(("aperture_deg", "side_db"), [(85.0, -17.6), (100.0, -11.6), (120.0, -8.5)])
def test_a_wide_sensor_sends_more_along_the_bumper(aperture_deg: float, side_db: float) -> None:
    """The piston's -6 dB beam gives k a; its level at 90 degrees is 2 J1(k a) / (k a) (scipy)."""
    assert chain.piston_db(chain.aperture_x(aperture_deg)) == pytest.approx(side_db, abs=0.6)
    half = math.sin(math.radians(aperture_deg / 2.0))
    assert chain.piston_db(chain.aperture_x(aperture_deg) * half) == pytest.approx(-6.02, abs=0.01)


def test_felt_follows_the_collar_s_formula_within_its_range() -> None:
    for share in (0.9, 1.0, 1.2):
        exact = felt.attenuation_db(np.array([48_000.0]), 0.0175, 100_000.0 * share)[0]
        assert chain.felt_db(48_000.0, 17.5, share) == pytest.approx(float(exact), abs=0.15)


def test_shading_by_hand() -> None:
    """A closed rim at 48 kHz, 100 degrees, 40 cm: 18.06 dB of way, 11.6 dB aside, 20 dB of felt."""
    closed = chain.shading_db(100.0, 0.0, 48_000.0, 0.40)
    rim = float(felt.decibels_per_metre(np.array([48_000.0]), 100_000.0)[0]) * 0.010
    assert closed == pytest.approx(18.06 + 11.6 + rim, abs=0.1)
    assert chain.shading_db(100.0, 1.0, 48_000.0, 0.40) == pytest.approx(18.06 + 11.6, abs=0.1)


@pytest.mark.parametrize("microphone", MICROPHONES, ids=lambda one: one.name)
def test_calibration_never_shortens_the_plug_and_leaves_half_a_decibel(microphone: Microphone) -> None:
    generator = np.random.default_rng(4)
    left = []
    for _ in range(60):
        bare = chain.built(generator, microphone)
        done = chain.calibrated(generator, bare)
        assert done.plug_mm >= bare.plug_mm
        assert max(done.error_db(hz, done.plug_mm) for hz in CLASSES_HZ) <= 0.2
        left += [done.error_db(hz, done.plug_mm) - done.trim_db[hz] for hz in CLASSES_HZ]
    assert float(np.std(left)) == pytest.approx(chain.CALIBRATED_SIGMA_DB, abs=0.1)


def test_a_short_plug_shows_as_a_lost_margin(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bench's figure is no constant: with the plug that the collar once had, the loudest sensors overload."""
    generator = np.random.default_rng(2)
    short = replace(FIRST, plug_mm=12.2)
    drawn = bench.draw(lambda draws: chain.calibrated(draws, chain.built(draws, short)), 40, generator)
    figures = {entry["name"]: entry for entry in bench.margins(short, drawn)}
    assert not figures["imp23absu_overload_margin_db"]["holds"]


def test_limits_follow_the_draws() -> None:
    """Pass lies below 99 in 100 healthy levels, the neighbours' limit above 99 in 100 of theirs, DEAD between."""
    generator = np.random.default_rng(6)
    drawn = bench.draw(lambda draws: chain.calibrated(draws, chain.built(draws, SECOND)), 60, generator)
    for hz in CLASSES_HZ:
        limits = bench.limits_that_hold(drawn)[f"{hz / 1000:.0f}_khz"]
        below = sum(level < limits["pass_cdb"] / 100.0 for level in drawn.levels(hz)) / len(drawn.levels(hz))
        over = sum(level > limits["neighbour_cdb"] / 100.0 for level in drawn.neighbours_dbfs[hz])
        assert below <= 0.012 and over / len(drawn.neighbours_dbfs[hz]) <= 0.012
        assert limits["neighbour_cdb"] + 200 <= limits["dead_cdb"] < limits["pass_cdb"]
