"""History, trend and probe health: a date is given only when the data carry it, and never invented."""

from pathlib import Path
from typing import Any

import pytest
from curbtick.errors import InputError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.fading import evidence, judge, trend, visits
from curbtick.fleet.fading.series import Visit
from curbtick.fleet.probes import health
from curbtick.fleet.probes import names as probes
from curbtick.fleet.work import findings, past
from curbtick.limits import sets
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick_wire import names, records
from sqlalchemy import select

from tests.unit.bench.benchdata import (
    DAY_MS,
    NOON_MS,
    PROBE,
    Logbook,
    add_round,
    add_vehicle,
    reading,
    record,
)
from tests.unit.bench.fleet.fleetdata import SecondVehicle

MONTH_MS = int(evidence.DAYS_A_MONTH * DAY_MS)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A history that holds another vehicle's days already."""
    made = Store(tmp_path / "history.db")
    SecondVehicle(made)
    return made


def _points(
    count: int, days_apart: float, db_per_month: float, start_db: float = -8.0
) -> list[tuple[int, float]]:
    wobble = (0.1, -0.1, 0.05, -0.05, 0.0)
    return [
        (
            int(n * days_apart * DAY_MS),
            start_db + n * days_apart / evidence.DAYS_A_MONTH * db_per_month + wobble[n % 5],
        )
        for n in range(count)
    ]


def test_a_clear_fade_gets_a_rate_and_a_date_with_its_interval() -> None:
    found = trend.of_visits(_points(10, 30, -0.8), -17.0, True)
    assert found is not None and found.is_fading
    assert found.rate_db_per_month == pytest.approx(-0.8, abs=0.05)
    assert found.low_db_per_month < -0.8 < found.high_db_per_month
    assert found.crossing_ms is not None and found.earliest_ms is not None and found.latest_ms is not None
    assert found.earliest_ms <= found.crossing_ms <= found.latest_ms
    months_left = (found.crossing_ms - 270 * DAY_MS) / MONTH_MS
    assert months_left == pytest.approx((found.level_now_db + 17) / 0.8, rel=0.08)


@pytest.mark.parametrize(
    ("points", "listed", "why"),
    [
        (_points(5, 30, -0.8), False, "5 visits are too few"),
        (_points(10, 5, -3.0), False, "45 days are too short"),
        (_points(10, 30, -0.8), False, "does not fall clearly"),
        (_points(10, 30, -0.15), True, "further ahead"),
        (_points(10, 30, -0.8, start_db=-15.0), True, "below the pass limit already"),
    ],
)
def test_no_date_is_given_when_the_data_do_not_carry_it(
    points: list[tuple[int, float]], listed: bool, why: str
) -> None:
    found = trend.of_visits(points, -17.0, listed)
    assert found is not None
    assert found.crossing_ms is None and why in (found.why_not or "")


def test_unknown_limits_give_no_date() -> None:
    found = trend.of_visits(_points(10, 30, -0.8), None, True)
    assert found is not None and found.crossing_ms is None and "not known" in (found.why_not or "")


def test_one_wild_reading_makes_no_trend() -> None:
    points = _points(10, 30, 0.0)
    points[6] = (points[6][0], -16.0)
    fleet = judge.of_fleet({1: [Visit(at_ms, level_db, 1) for at_ms, level_db in points]})
    found = trend.of_visits(fleet.own[1], -17.0, 1 in fleet.listed)
    assert found is not None and not found.is_fading and abs(found.rate_db_per_month) < 0.1


def _book(store: Store) -> tuple[int, Logbook]:
    van = add_vehicle(store, "Van 1")
    add_round(store, 1, [van])
    return van, Logbook(store)


def _history(store: Store, van: int) -> past.PlaceHistory:
    with store.read() as connection:
        vehicle = vehicles.load(connection, [van])[0]
        fading = past.fading_of(connection, [vehicle])
        return past.of_vehicle(connection, vehicle, sets.all_sets(connection), fading)[0]


def test_undated_and_silent_readings_do_not_count_as_visits(store: Store) -> None:
    van, book = _book(store)
    silent = {"round_id": 1, "verdict": names.DEAD, "level_cdb": records.NONE_I16}
    book.visit(NOON_MS, {"round_id": 1}, silent)
    book.visit(NOON_MS + DAY_MS, {"round_id": 1}, anchor=False)
    with store.read() as connection:
        found = readings.of_place(connection, van, names.REAR, 1)
        seen = visits.of_place(connection, (van, names.REAR, 1))
    assert [r.time_ms is None for r in found] == [False, False, True]
    assert [visit.at_ms for visit in seen] == [NOON_MS + 1000]


def test_readings_of_one_visit_count_once_by_their_median(store: Store) -> None:
    van, book = _book(store)
    book.visit(NOON_MS, *({"round_id": 1, "level_cdb": level} for level in (-800, -900, -1600)))
    with store.read() as connection:
        (visit,) = visits.of_place(connection, (van, names.REAR, 1))
    assert (visit.at_ms, visit.level_db) == (NOON_MS + 1000, -9.0)


def test_a_reading_taken_again_says_nothing_about_the_sensor(store: Store) -> None:
    van, book = _book(store)
    seq = book.seq + 2
    slipped = {"round_id": 1, "level_cdb": -2400, "verdict": names.WEAK}
    book.visit(NOON_MS, slipped, {"round_id": 1, "level_cdb": -800, "supersedes_seq": seq})
    with store.read() as connection:
        assert [visit.level_db for visit in visits.of_place(connection, (van, names.REAR, 1))] == [-8.0]


def test_the_trend_begins_anew_after_a_repair_and_marks_stand_in_order(store: Store) -> None:
    van, book = _book(store)
    for month in range(8):
        book.visit(NOON_MS + month * MONTH_MS, {"round_id": 1, "level_cdb": -800 - 120 * month})
    low = {"round_id": 1, "level_cdb": -2000, "verdict": names.WEAK, "reasons": 1}
    book.visit(NOON_MS + 8 * MONTH_MS, low)
    with store.write() as connection:
        findings.refresh(connection)
        finding = findings.load(connection, vehicle_id=van)[0]
        findings.note(connection, finding.id, "replace", NOON_MS + 8 * MONTH_MS + DAY_MS, "Ann")
    for month in range(9, 12):
        book.visit(NOON_MS + month * MONTH_MS, {"round_id": 1, "limits_revision": 2})
    found = _history(store, van)
    assert found.trend is not None and found.trend.visits == 3 and not found.trend.is_fading
    assert [mark.kind for mark in found.marks] == ["replace", "limits"]


def test_limits_not_known_to_the_history_are_shown_as_unknown(store: Store) -> None:
    van, book = _book(store)
    book.visit(NOON_MS, {"round_id": 1, "limits_revision": 77})
    found = _history(store, van)
    with store.read() as connection:
        assert past.limits_of(found.readings[0], sets.all_sets(connection)) is None


def test_a_long_history_shows_its_newest_part(store: Store) -> None:
    van, book = _book(store)
    for day in range(past.NEWEST + 20):
        book.visit(NOON_MS + day * DAY_MS, {"round_id": 1, "level_cdb": -800 - day})
    found = _history(store, van)
    assert len(found.readings) == past.NEWEST
    assert found.readings[-1].level_db == pytest.approx(-8 - (past.NEWEST + 19) / 100)


def _reference(store: Store, levels_cdb: list[int], last_ms: int) -> None:
    reference = add_vehicle(store, "Reference", positions=1, is_reference=True)
    add_round(store, 9, [reference])
    book = Logbook(store)
    for place, level in enumerate(levels_cdb):
        at_ms = last_ms - (len(levels_cdb) - 1 - place) * DAY_MS
        book.visit(at_ms, {"round_id": 9, "level_cdb": level, "positions": 1})


def _health(store: Store, now_ms: int) -> health.Health:
    with store.read() as connection:
        return health.of_probes(connection, now_ms)[0]


def test_a_steady_checked_probe_has_no_flags(store: Store) -> None:
    _reference(store, [-810, -800, -795, -805, -800, -790, -800, -805, -800, -802], NOON_MS)
    found = _health(store, NOON_MS + DAY_MS)
    assert list(found.flags) == []
    assert found.drift_db == pytest.approx(0.0, abs=0.1)


def test_a_drifted_and_an_overdue_probe_are_flagged(store: Store) -> None:
    _reference(store, [-810, -800, -795, -805, -800, -790, -930, -925, -940], NOON_MS)
    flags = " ".join(_health(store, NOON_MS + 5 * DAY_MS).flags)
    assert "drifted by -1.3 dB" in flags and "overdue" in flags and "5 days ago" in flags


def test_too_few_reference_readings_say_nothing_about_drift(store: Store) -> None:
    _reference(store, [-810, -800, -1500], NOON_MS)
    found = _health(store, NOON_MS)
    assert found.drift_db is None and list(found.flags) == []


def test_a_probe_never_checked_is_flagged_only_where_there_is_a_reference(store: Store) -> None:
    Logbook(store).visit(NOON_MS, {})
    assert list(_health(store, NOON_MS).flags) == []
    add_vehicle(store, "Reference", positions=1, is_reference=True)
    assert "never checked" in " ".join(_health(store, NOON_MS).flags)


def test_a_failed_self_test_is_flagged_until_one_passes(store: Store) -> None:
    book = Logbook(store)
    book.visit(NOON_MS, {})
    fields: dict[str, Any] = {"failed": 2, "bias_code": 2048, "battery_mv": 4000}
    store.ingest(book.probe, [record(records.SELF_TEST, 50, fields)])
    assert "failed its last self-test" in " ".join(_health(store, NOON_MS).flags)
    store.ingest(book.probe, [record(records.SELF_TEST, 51, {**fields, "failed": 0})])
    assert list(_health(store, NOON_MS).flags) == []


def _describe(store: Store, name: str, new_name: str | None, depot: str | None) -> None:
    with store.write() as connection:
        probes.describe(connection, name, new_name, depot, NOON_MS)


def test_a_probe_that_wanders_between_depots_keeps_one_history(store: Store) -> None:
    book = Logbook(store)
    book.visit(NOON_MS, {})
    _describe(store, "302a11", "blue", "North")
    book.visit(NOON_MS + 86_400_000, {})
    _describe(store, "blue", None, "South")
    with store.read() as connection:
        probe = connection.execute(select(tables.probes).where(tables.probes.c.unique_id == PROBE)).one()
        mine = tables.readings.c.vehicle_id.is_(None)
        assert (
            connection.execute(select(tables.readings.c.probe_id).where(mine)).scalars().all()
            == [probe.id] * 2
        )
    assert (probe.name, probe.depot) == ("blue", "South")
    store.ingest("00000000000000aa", [reading(1)])
    with pytest.raises(InputError, match="exists already"):
        _describe(store, "blue", "0000aa", None)
    with pytest.raises(InputError, match="no probe red"):
        _describe(store, "red", None, "North")
