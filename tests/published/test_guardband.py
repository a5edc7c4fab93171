"""Guard bands against ISO 14253-1 and JCGM 106:2012."""

import pytest
from curbtick.errors import InputError
from curbtick.limits import guard
from scipy import integrate, stats


@pytest.mark.parametrize(("distance_u", "probability"), [(0.0, 0.5), (1.64, 0.9495), (2.0, 0.9772)])
def test_one_sided_conformance(distance_u: float, probability: float) -> None:
    """Phi((T - y) / u) of JCGM 106:2012, 7.3; 1.64 u is the one-sided 95 % guard band of ISO 14253-1."""
    assert guard.conformance_probability(-17 + distance_u * 0.8, -17, 0.8) == pytest.approx(
        probability, abs=5e-5
    )


def test_the_zener_example() -> None:
    """JCGM 106:2012, example of a Zener diode's breakdown voltage: upper limit -5.40 V, reading -5.47 V, u
    0.05 V: Phi(1.40) = 0.92. Turned round, since a level must lie above its limit.
    """
    assert guard.conformance_probability(5.47, 5.40, 0.05) == pytest.approx(0.92, abs=0.005)


@pytest.mark.parametrize(("risk", "factor"), [(0.05, 1.6449), (0.0228, 2.0), (0.01, 2.3263), (0.001, 3.0902)])
def test_guard_factors(risk: float, factor: float) -> None:
    """Normal quantiles (any table); 5 % is ISO 14253-1's default, 2.28 % a guard band of 2 u."""
    assert guard.guard_factor(risk) == pytest.approx(factor, abs=2e-3)


def test_a_sensor_at_the_tolerance_passes_with_the_stated_risk() -> None:
    limit = guard.acceptance_limit_db(-18, 0.9, 0.01)
    assert stats.norm.sf(limit, -18, 0.9) == pytest.approx(0.01, rel=1e-9)


def test_false_fails_against_numerical_integration() -> None:
    """JCGM 106:2012, 9.5: the producer's risk as an integral over the population, by scipy quadrature."""
    centre, spread, u, limit = -8.0, 1.2, 0.8, -9.5

    def failing(level: float) -> float:
        return float(stats.norm.pdf(level, centre, spread) * stats.norm.cdf(limit, level, u))

    share, _ = integrate.quad(failing, -30, 10)
    assert guard.false_fail_share(limit, centre, spread, u) == pytest.approx(share, rel=1e-6)


def test_a_full_guard_band_trades_false_accepts_for_false_rejects() -> None:
    """One worked case of CHECKS: about 40 times fewer false accepts, some 6.7 times more false rejects.
    Population and uncertainty are not given there, so only the direction and the order of magnitude are
    held here.
    """

    def accepts(guard_u: float) -> float:
        spread, u, tolerance = 1.0, 0.25, -2.0
        limit = tolerance + guard_u * u
        bad = integrate.quad(
            lambda t: float(stats.norm.pdf(t, 0, spread) * stats.norm.sf(limit, t, u)), -8, tolerance
        )
        return bad[0]

    assert 10 < accepts(0.0) / accepts(2.0) < 100


@pytest.mark.parametrize("risk", [0.0, -0.1, 0.6, 2.0])
def test_a_senseless_risk_is_refused(risk: float) -> None:
    with pytest.raises(InputError, match="makes no sense"):
        guard.guard_factor(risk)
