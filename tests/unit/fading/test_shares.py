"""Intervals of shares over several fleets."""

import pytest

from tests.bench.fading.shares import Share


def test_fleets_that_agree_have_the_exact_interval() -> None:
    """Newcombe, Statistics in Medicine 17 (1998), 857-872, table I, method 5 (Clopper-Pearson)."""
    assert Share((81,), (263,)).interval() == pytest.approx((0.2527, 0.3676), abs=5e-5)
    assert Share((0, 0), (10, 10)).interval() == pytest.approx((0.0, 0.1684), abs=5e-5)


def test_fleets_that_differ_count_as_fewer_sensors() -> None:
    apart = Share((100, 0, 100, 0), (100, 100, 100, 100))
    assert apart.design_effect == pytest.approx(400 / 3)
    assert (apart.value, apart.highest) == (0.5, 1.0)
    low, high = apart.interval()
    assert low < 0.05 and high > 0.95


def test_nothing_of_nothing_proves_nothing() -> None:
    assert Share((0,), (0,)).interval() == (0.0, 1.0)


def test_more_fleets_prove_more() -> None:
    share = Share((38, 38), (40, 40))
    assert share.interval()[0] < 0.9
    needed = share.fleets_needed(lambda interval: interval[0] >= 0.9)
    assert needed is not None and needed > 2
    assert share.interval(needed)[0] >= 0.9 > share.interval(needed - 1)[0]
    assert Share((35, 35), (40, 40)).fleets_needed(lambda interval: interval[0] >= 0.9) is None
