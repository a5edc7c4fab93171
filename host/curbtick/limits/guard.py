"""Guard bands: how far a limit must stand off so that a wrong PASS is as rare as wanted.

One-sided conformance with a normal measurement error, as in ISO 14253-1 and JCGM 106:2012 (9.3): a level y
measured with standard uncertainty u conforms to "at least T" with probability Phi((y - T) / u).
"""

from math import sqrt

from scipy import stats

from curbtick.errors import InputError


def conformance_probability(level_db: float, tolerance_db: float, u_db: float) -> float:
    """Probability that a sensor read at level_db truly lies at or above tolerance_db; u_db > 0."""
    return float(stats.norm.cdf((level_db - tolerance_db) / u_db))


def guard_factor(risk: float) -> float:
    """Width of the guard band in standard uncertainties for a risk of a false PASS at the limit itself.

    risk: above 0 and at most 0.5. Raises InputError.
    """
    if not 0 < risk <= 0.5:
        raise InputError(
            f"A risk of {risk:g} makes no sense.",
            "Nothing was changed.",
            "Give a share above 0 and at most 0.5.",
        )
    return float(stats.norm.isf(risk))


def acceptance_limit_db(tolerance_db: float, u_db: float, risk: float) -> float:
    """Level from which a reading passes, so that a sensor at the tolerance passes with probability `risk`."""
    return tolerance_db + guard_factor(risk) * u_db


def false_fail_share(pass_db: float, centre_db: float, spread_db: float, u_db: float) -> float:
    """Share of healthy sensors, normal about centre_db with spread_db, that one reading puts below pass_db."""
    return float(stats.norm.cdf((pass_db - centre_db) / sqrt(spread_db**2 + u_db**2)))


def wilson(count: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a proportion (Wilson 1927), 0 to 1; (0, 1) where nothing was tried."""
    if of == 0:
        return 0.0, 1.0
    z = float(stats.norm.isf((1 - confidence) / 2))
    share = count / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(middle - half, 0.0), min(middle + half, 1.0)
