"""The bench's statistics against published values and reference libraries."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from curbtick.dates import DAY_MS
from curbtick.fleet.fading import evidence, trend
from curbtick.limits import guard, robust, study
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.proportion import proportion_confint


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals(count: int, of: int, low: float, high: float) -> None:
    """Newcombe, Statistics in Medicine 17 (1998), 857-872, table I, method 3 (score without continuity)."""
    assert guard.wilson(count, of) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_wilson_against_statsmodels(confidence: float) -> None:
    """statsmodels.stats.proportion.proportion_confint, method wilson."""
    for count, of in ((0, 7), (3, 7), (7, 7), (1, 4000)):
        theirs = proportion_confint(count, of, alpha=1 - confidence, method="wilson")
        assert guard.wilson(count, of, confidence) == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize(("tried", "most"), [(59, 0.05), (299, 0.01)])
def test_passes_in_a_row_bound_the_failure_rate(tried: int, most: float) -> None:
    """59 in a row show p < 5 %, 299 p < 1 %, at 95 % (exact binomial, scipy): one fewer does not."""
    assert stats.binom.pmf(0, tried, most) <= 0.05 < stats.binom.pmf(0, tried - 1, most)
    assert guard.wilson(0, tried)[1] < 2 * most


def test_mad_makes_sigma_of_normal_data() -> None:
    """Factor 1.482602 = 1 / Phi^-1(3/4) (scipy); scipy.stats.median_abs_deviation with scale "normal"."""
    assert pytest.approx(1 / stats.norm.ppf(0.75), abs=5e-7) == robust.MAD_TO_SIGMA
    values = np.random.default_rng(1).normal(-8, 1.3, 999)
    theirs = stats.median_abs_deviation(values, scale="normal")
    assert robust.mad_sigma(list(values)) == pytest.approx(theirs, rel=1e-6)


def test_outliers_by_the_modified_z() -> None:
    """Iglewicz & Hoaglin (1993): 0.6745 (x - median) / MAD beyond 3.5; their 0.6745 is the rounded 1 /
    1.4826.
    """
    values = [-8.0, -8.2, -7.9, -8.1, -7.8, -8.05, -12.0]
    middle = float(np.median(values))
    mad = float(np.median(np.abs(np.array(values) - middle)))
    for value in values:
        theirs = 0.6745 * (value - middle) / mad
        assert robust.modified_z(value, middle, robust.mad_sigma(values)) == pytest.approx(theirs, rel=1e-4)
    assert robust.without_outliers(values, 0.0) == values[:-1]


def test_four_siblings_may_have_no_mad_and_nothing_is_rejected_by_it() -> None:
    """With four siblings a MAD can be 0; the least sigma keeps it from rejecting a healthy one."""
    assert robust.mad_sigma([-8.0, -8.0, -8.0, -9.0]) == 0.0
    assert robust.without_outliers([-8.0, -8.0, -8.0, -9.0], 0.3) == [-8.0, -8.0, -8.0, -9.0]


def test_repeatability_from_pairs() -> None:
    """Differences of two normal readings have variance 2 sigma^2; 4,000 pairs give sigma within 4 %."""
    pairs = np.random.default_rng(2).normal(0, 0.7, (4000, 2))
    assert robust.sigma_of_differences(list(pairs[:, 0] - pairs[:, 1])) == pytest.approx(0.7, rel=0.04)


def test_slope_and_interval_are_theil_and_sen() -> None:
    """Sen, JASA 63 (1968), 1379-1389, via scipy.stats.theilslopes; half the interval's ends stay outside."""
    rng = np.random.default_rng(3)
    days = np.arange(0, 300, 25)
    levels = -8 - days * 1.0 / evidence.DAYS_A_MONTH + rng.normal(0, 0.4, len(days))
    levels[4] -= 12
    found = trend.of_visits(
        [(int(d) * DAY_MS, float(v)) for d, v in zip(days, levels, strict=True)], -17.0, True
    )
    slope, _, low, high = stats.theilslopes(levels, days, alpha=0.95)
    assert found is not None
    assert found.rate_db_per_month == pytest.approx(slope * evidence.DAYS_A_MONTH, rel=1e-9)
    assert (found.low_db_per_month, found.high_db_per_month) == pytest.approx(
        (low * evidence.DAYS_A_MONTH, high * evidence.DAYS_A_MONTH), rel=1e-9
    )
    assert found.rate_db_per_month == pytest.approx(-1.0, abs=0.25)


@pytest.mark.parametrize("count", [4, 7, 12, 40])
def test_theil_sen_against_scipy_ties_included(count: int) -> None:
    """scipy.stats.theilslopes on random data, every other case with ties in both."""
    rng = np.random.default_rng(count)
    for case in range(20):
        x, y = rng.uniform(0, 300, count), rng.normal(-8, 1, count)
        if case % 2:
            x, y = np.round(x, -1), np.round(y, 0)
        if len(set(x)) < 3:
            continue
        slope, _, low, high = stats.theilslopes(y, x, alpha=0.95)
        assert trend.theil_sen(list(x), list(y)) == pytest.approx((slope, low, high), rel=1e-9, abs=1e-12)


def test_the_slope_interval_covers_the_true_slope() -> None:
    """Nominal 95 %; of 600 made-up histories at least 92 % must be covered (Wilson's lower bound of 95 % is
    93 %).
    """
    rng = np.random.default_rng(4)
    covered = 0
    for _ in range(600):
        days = np.sort(rng.uniform(0, 360, 14))
        levels = -8 - 0.02 * days + rng.normal(0, 0.6, 14)
        found = trend.of_visits(
            [(int(d * DAY_MS), float(v)) for d, v in zip(days, levels, strict=True)], -17.0, True
        )
        assert found is not None
        covered += found.low_db_per_month <= -0.02 * evidence.DAYS_A_MONTH <= found.high_db_per_month
    assert covered / 600 >= 0.92


def _crossed(parts: int, technicians: int, trials: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    part = rng.normal(0, 3.0, (parts, 1, 1))
    technician = rng.normal(0, 0.6, (1, technicians, 1))
    both = rng.normal(0, 0.5, (parts, technicians, 1))
    return part + technician + both + rng.normal(0, 0.8, (parts, technicians, trials)) - 10


def _long(table: np.ndarray) -> pd.DataFrame:
    index = np.indices(table.shape).reshape(3, -1)
    return pd.DataFrame({"part": index[0], "technician": index[1], "level": table.ravel(), "one": 1})


def test_variance_components_against_statsmodels() -> None:
    """On balanced data with positive estimates REML equals the method of moments (Searle, Casella &
    McCulloch, Variance Components, section 4.8): statsmodels MixedLM with crossed components.
    """
    table = _crossed(12, 4, 3, seed=5)
    found = study.crossed(table.tolist())
    data = _long(table)
    components = {
        "part": "0 + C(part)",
        "technician": "0 + C(technician)",
        "both": "0 + C(part):C(technician)",
    }
    fit = MixedLM.from_formula("level ~ 1", data, groups="one", vc_formula=components, re_formula="0").fit()
    theirs = dict(zip(fit.model.exog_vc.names, np.sqrt(fit.vcomp), strict=True))
    assert found.repeatability.sigma_db == pytest.approx(np.sqrt(fit.scale), rel=0.01)
    assert found.part.sigma_db == pytest.approx(theirs["part"], rel=0.01)
    assert found.technician.sigma_db == pytest.approx(theirs["technician"], rel=0.02)
    assert found.interaction.sigma_db == pytest.approx(theirs["both"], rel=0.02)


def test_mean_squares_against_statsmodels_anova() -> None:
    """The within-cell mean square of statsmodels' two-way analysis of variance is the repeatability's."""
    table = _crossed(8, 3, 2, seed=6)
    fit = smf.ols("level ~ C(part) * C(technician)", _long(table)).fit()
    assert study.crossed(table.tolist()).repeatability.sigma_db == pytest.approx(
        np.sqrt(fit.mse_resid), rel=1e-9
    )


@pytest.mark.parametrize(
    ("component", "truth"), [("repeatability", 0.8), ("technician", 0.6), ("interaction", 0.5), ("part", 3.0)]
)
def test_every_interval_covers_the_truth(component: str, truth: float) -> None:
    """Nominal 95 %: chi-square is exact, the modified large-sample one is known to keep it closely
    (Burdick, Borror & Montgomery 2003). 600 studies; three sigmas of the binomial are allowed downwards.
    """
    inside = 0
    for seed in range(600):
        found = getattr(study.crossed(_crossed(6, 4, 2, seed=100 + seed).tolist()), component)
        inside += found.low_db <= truth <= found.high_db
    assert inside / 600 >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 600)
