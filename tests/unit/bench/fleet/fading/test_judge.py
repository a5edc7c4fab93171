"""Which positions fade: what they share is taken off, noise that remembers is allowed for, a step is no fading."""

from typing import Any

import numpy as np
import pytest
from curbtick.dates import DAY_MS
from curbtick.fleet.fading import common, evidence, judge, series, shapes
from curbtick.fleet.fading.series import Numbers, Series, Visit
from scipy import stats

WEEKS = 26
PROBES = 5


def table(levels_db: Numbers) -> Series:
    """Weekly levels of many positions, each with one of PROBES probes."""
    return series.of_visits(visits(levels_db))


def visits(levels_db: Numbers) -> dict[Any, list[Visit]]:
    return {
        row: [Visit(7 * week * DAY_MS, float(level_db), row % PROBES) for week, level_db in enumerate(levels)]
        for row, levels in enumerate(levels_db)
    }


def noise(positions: int, seed: int, memory: float = 0.0, sigma_db: float = 0.6) -> Numbers:
    """First-order noise of the same spread each week, memory times last week's."""
    rng = np.random.default_rng(seed)
    fresh = rng.normal(0, sigma_db, (positions, WEEKS))
    for week in range(1, WEEKS):
        fresh[:, week] = memory * fresh[:, week - 1] + np.sqrt(1 - memory**2) * fresh[:, week]
    found: Numbers = fresh + rng.normal(-8, 2, positions)[:, None]
    return found


SINKING = np.linspace(0, -3, WEEKS)


def test_what_fades_is_found_and_nothing_else() -> None:
    levels_db = noise(400, 1)
    levels_db[:8] += SINKING
    found = judge.of_fleet(visits(levels_db))
    assert found.listed == set(range(8))
    assert [at_ms for at_ms, _ in found.own[3]] == [7 * week * DAY_MS for week in range(WEEKS)]


@pytest.mark.parametrize("memory", [0.0, 0.6])
def test_a_steady_fleet_has_nothing_that_fades(memory: float) -> None:
    assert len(judge.of_fleet(visits(noise(1000, 2, memory))).listed) <= 2


def test_too_few_visits_or_days_list_nothing() -> None:
    levels_db = noise(40, 3, sigma_db=0.1)
    levels_db[0] += SINKING
    assert judge.of_fleet(visits(levels_db)).listed == {0}
    assert not judge.of_fleet(visits(levels_db[:, : judge.VISITS_MIN - 1])).listed
    short = {row: kept[:8] for row, kept in visits(levels_db + 2 * SINKING).items()}
    assert judge.SPAN_MIN_DAYS > 7 * 7 and not judge.of_fleet(short).listed
    assert judge.of_fleet({}).listed == judge.of_fleet({1: []}).listed == frozenset()


def test_a_swing_and_a_drifting_probe_are_shared_by_many_and_taken_off() -> None:
    levels_db = noise(300, 4, sigma_db=0.2)
    plain_db = levels_db.copy()
    levels_db += np.sin(np.linspace(0, 3, WEEKS))
    levels_db[::PROBES] += np.linspace(0, -2.5, WEEKS)
    own_db = levels_db - common.part_db(table(levels_db))
    off_db = (own_db - plain_db) - np.median(own_db - plain_db, axis=1, keepdims=True)
    assert np.max(np.abs(off_db)) < 0.2
    assert not judge.of_fleet(visits(levels_db)).listed


def test_a_few_positions_alone_share_nothing() -> None:
    """What all eight of a vehicle do may be the vehicle, the probe or the season: it is not taken off them."""
    assert not np.any(common.part_db(table(noise(8, 5) + SINKING)))


def test_a_line_is_scipy_s() -> None:
    levels_db = noise(20, 6)
    drawn = table(levels_db)
    slope, rest = evidence.line(drawn.days, levels_db, drawn.there)
    for row in range(20):
        theirs = stats.linregress(drawn.days[row], levels_db[row])
        assert slope[row] == pytest.approx(theirs.slope)
        error = np.sqrt(np.sum(rest[row] ** 2) / (WEEKS - 2) * evidence._inflation(drawn, 0.0)[row])
        assert error == pytest.approx(theirs.stderr)


@pytest.mark.parametrize("memory", [0.0, 0.3, 0.6])
def test_memory_is_the_fleet_s_and_widens_the_error_as_much_as_slopes_spread(memory: float) -> None:
    drawn = table(noise(3000, 7, memory))
    slope, rest = evidence.line(drawn.days, drawn.levels_db, drawn.there)
    assert evidence.memory_per_week(drawn, rest) == pytest.approx(memory, abs=0.08)
    error = 0.6 * np.sqrt(evidence._inflation(drawn, memory)[0])
    assert float(np.std(slope)) == pytest.approx(error, rel=0.06)


def test_one_wild_level_moves_a_line_little() -> None:
    levels_db = noise(50, 8, sigma_db=0.3)
    levels_db[0, -1] -= 12
    drawn = table(levels_db)
    assert evidence.clip(drawn, levels_db)[0, -1] > levels_db[0, -1] + 9


@pytest.mark.parametrize(
    ("shape", "is_slow"),
    [
        (SINKING, True),
        (np.minimum(0, -0.25 * (np.arange(WEEKS) - 13)), True),
        (np.where(np.arange(WEEKS) < 12, 0.0, -2.5), False),
        (np.where((np.arange(WEEKS) > 8) & (np.arange(WEEKS) < 22), -2.5, 0.0), False),
    ],
    ids=["line", "bend", "step", "dirt and a washing"],
)
def test_a_step_is_told_from_sinking(shape: Numbers, is_slow: bool) -> None:
    levels_db = noise(900, 9, sigma_db=0.4)
    suspects = np.arange(900) < 300
    levels_db[suspects] += shape
    told = shapes.sinks(table(levels_db), levels_db, suspects)
    assert float(np.mean(told[suspects] == is_slow)) > 0.95 and not told[~suspects].any()


def test_where_many_positions_go_in_steps_a_step_is_believed_sooner() -> None:
    """A slope with a jump in it, which either explains: a fading in a clean fleet, dirt in a dirty one."""
    either = SINKING / 2 + np.where(np.arange(WEEKS) < 14, 0.0, -1.1)
    suspects = np.arange(400) < 100
    clean_db = noise(400, 10, sigma_db=0.6)
    clean_db[:100] += either
    dirty_db = clean_db.copy()
    dirty_db[100:] -= np.where(np.arange(WEEKS) < 9, 0.0, 3.0)
    in_clean = shapes.sinks(table(clean_db), clean_db, suspects)
    in_dirty = shapes.sinks(table(dirty_db), dirty_db, suspects)
    assert not (in_clean | in_dirty)[100:].any()
    assert in_clean.sum() > in_dirty.sum() + 20
