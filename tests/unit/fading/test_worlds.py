"""The fleets of the fading benchmark are what their words say."""

import numpy as np
import pytest

from tests.bench.fading import dirt, worlds
from tests.bench.fading.calendar import SENSORS_PER_VEHICLE, VEHICLES, draw
from tests.bench.fading.reference import slopes_db_per_week
from tests.bench.fading.worlds import DAY_MS, DISTURBED, HALF_YEAR, SENSORS, WHITE, Fleet, World

REMEMBERS, SWINGS, DRIFTS, DIRTY = DISTURBED


def fleet(world: World, fades: bool = False, weeks: int = HALF_YEAR, seed: int = 5) -> Fleet:
    return worlds.make(world, weeks, fades, np.random.default_rng(seed))


def left_db(made: Fleet) -> np.ndarray:
    """The levels without each sensor's mean and its probe's: steady fleets only."""
    rows = made.readings
    level = rows.level_db.copy()
    for _ in range(5):
        for group in (rows.sensor, np.unique(rows.probe_id, return_inverse=True)[1]):
            level -= (np.bincount(group, level) / np.maximum(np.bincount(group), 1))[group]
    return level


def correlation(made: Fleet, low_days: float, high_days: float) -> float:
    """Between neighbouring readings of a sensor that lie so far apart."""
    rows, level = made.readings, left_db(made)
    apart = np.diff(rows.at_ms) / DAY_MS
    pairs = (np.diff(rows.sensor) == 0) & (low_days < apart) & (apart < high_days)
    return float(np.corrcoef(level[:-1][pairs], level[1:][pairs])[0, 1])


@pytest.mark.parametrize("world", [WHITE, REMEMBERS])
def test_a_seat_has_its_noise(world: World) -> None:
    made = fleet(world, weeks=2 * HALF_YEAR)
    # The mean that is taken off each sensor takes some of the noise that remembers with it.
    assert np.std(left_db(made)) == pytest.approx(worlds.SEAT_DB, rel=0.05)


def test_noise_remembers_from_week_to_week_or_not_at_all() -> None:
    # The mean of 52 weeks takes about (1 + 3 * 0.6) / (52 * 0.4) * 0.6 off the correlation.
    assert correlation(fleet(REMEMBERS, weeks=2 * HALF_YEAR), 6.5, 7.5) == pytest.approx(0.58, abs=0.03)
    assert correlation(fleet(WHITE, weeks=2 * HALF_YEAR), 6.5, 7.5) == pytest.approx(-0.02, abs=0.02)
    assert correlation(fleet(WHITE, weeks=2 * HALF_YEAR), 0, 0.1) == pytest.approx(-0.02, abs=0.05)


def test_one_in_a_hundred_fades_by_three_db() -> None:
    made = fleet(WHITE, fades=True)
    assert np.count_nonzero(made.shape >= 0) == SENSORS // 100
    slopes = slopes_db_per_week(made.readings)
    straight = slopes[made.shape == worlds.SHAPES.index("straight")]
    assert straight.mean() * HALF_YEAR == pytest.approx(-worlds.FADE_DB, abs=0.4)
    assert slopes[made.shape < 0].mean() == pytest.approx(0, abs=0.002)


def test_each_shape_falls_for_six_months_from_nothing_to_the_whole() -> None:
    shape = np.arange(-1, len(worlds.SHAPES))
    week = np.tile(np.linspace(0, 2 * HALF_YEAR, 105), (len(shape), 1))
    faded = worlds.faded_share(shape, week, 2 * HALF_YEAR, np.random.default_rng(1))
    assert not faded[0].any() and not faded[:, week[0] <= HALF_YEAR].any()
    assert (faded[1:, -1] == 1).all() and (np.diff(faded, axis=1) >= 0).all()
    halfway = faded[1:, week[0] == 1.5 * HALF_YEAR].ravel()
    assert halfway[0] == 0.5 and halfway[1] == 0.25 and halfway[2] < 0.5


def test_the_swing_is_common_and_goes_to_both_sides() -> None:
    made = fleet(SWINGS, weeks=2 * HALF_YEAR)
    fortnight = (made.readings.at_ms - made.readings.at_ms.min()) // (14 * DAY_MS)
    level = left_db(made)
    course = np.bincount(fortnight, level) / np.bincount(fortnight)
    assert np.ptp(course) == pytest.approx(2 * worlds.SWING_DB, rel=0.2)


def test_one_probe_alone_drifts() -> None:
    made = fleet(DRIFTS)
    level = left_db(made)
    late = made.readings.at_ms > np.median(made.readings.at_ms)
    moved = [
        abs(level[late & (probe == made.readings.probe_id)].mean())
        for probe in np.unique(made.readings.probe_id)
    ]
    assert max(moved) > 0.4 and sorted(moved)[-2] < 0.2


def test_a_vehicles_sensors_share_the_probe_of_the_day() -> None:
    calendar = draw(HALF_YEAR, np.random.default_rng(3))
    assert calendar.probes.shape == (VEHICLES, HALF_YEAR)
    assert (np.diff(calendar.days, axis=1) >= 0).all()
    assert 0.8 < calendar.came.mean() < 0.95
    assert 0 < calendar.late.sum() < VEHICLES / 5


def test_dirt_comes_by_itself_and_goes_with_the_vehicles() -> None:
    days = np.tile(np.arange(0, 365.0), (SENSORS, 1))
    loss_db = dirt.loss_db(days, np.random.default_rng(4))
    assert loss_db.min() == 0 and 4 < loss_db.max() <= dirt.MOST_DB
    step = np.diff(loss_db, axis=1).reshape(VEHICLES, SENSORS_PER_VEHICLE, -1)
    dirty, cleaned = (step > 0.3).sum(axis=1), (step < -0.3).sum(axis=1)
    together = [np.mean(count[count > 0] > 1) for count in (dirty, cleaned)]
    assert together[0] < 0.05 and together[1] > 0.3


def test_some_vehicles_are_never_washed() -> None:
    days = np.tile(np.arange(0, 365.0), (SENSORS, 1))
    loss_db = dirt.loss_db(days, np.random.default_rng(4)).reshape(VEHICLES, SENSORS_PER_VEHICLE, -1)
    grows_only = (np.diff(loss_db) >= 0).all(axis=(1, 2)).mean()
    assert 0.5 * dirt.UNWASHED_VEHICLES < grows_only < 2 * dirt.UNWASHED_VEHICLES
