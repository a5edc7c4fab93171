"""Limits on the bench: sets that make no sense are refused, and a fit says what it rests on."""

import random
import re
from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.limits import effect, fit, sets
from curbtick.store.history import Store
from curbtick_wire import names, records, settings
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, Logbook, add_round, add_vehicle


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "history.db")


def test_the_factory_set_makes_sense_and_survives_as_text() -> None:
    factory = sets.factory()
    assert sets.check(factory)
    assert sets.from_toml(sets.to_toml(factory)) == factory


@pytest.mark.parametrize(
    ("field", "value", "why"),
    [
        ("pass_cdb", -3600, "dead_cdb .* must lie below pass_cdb"),
        ("dead_cdb", -4400, "neighbour_cdb .* must lie below dead_cdb"),
        ("interval_max_ms", 20, "interval_min_ms .* must lie below interval_max_ms"),
        ("ringdown_min_us", 3000, "ringdown_min_us"),
        ("class_khz", 41, "no class 41"),
        ("class_khz", 48, "class 48 is given twice"),
        ("pass_cdb", 100, "pass_cdb"),
    ],
)
def test_limits_that_contradict_themselves_are_refused_by_name(field: str, value: int, why: str) -> None:
    limit_set = sets.factory()
    limit_set["classes"][0][field] = value
    with pytest.raises(InputError, match=why):
        sets.check(limit_set)


def test_limits_that_would_pass_what_is_not_there_are_refused() -> None:
    deaf, low = sets.factory(), sets.factory()
    deaf["high_floor_min_cdb"] = -5201
    low["classes"][0].update(dead_cdb=-3801, neighbour_cdb=-5000)
    with pytest.raises(InputError, match="below -52 dBFS lets a missing microphone pass"):
        sets.check(deaf)
    with pytest.raises(InputError, match="class 40: dead_cdb below -38 dBFS lets a neighbour pass"):
        sets.check(low)


@pytest.mark.parametrize(
    "text", ["pass_cdb = ", "classes = []", 'noise_max_cdb = "loud"', "", "noise_max_cdb = true"]
)
def test_a_text_that_is_no_set_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="makes no sense"):
        sets.from_toml(text)


def test_revisions_rise_and_the_factory_set_stands_behind(store: Store) -> None:
    with store.write() as connection:
        assert sets.load(connection)["revision"] == settings.FACTORY_REVISION
        first = sets.save(connection, sets.factory(), "test", NOON_MS)
        second = sets.save(connection, sets.factory(), "test", NOON_MS)
        assert (first["revision"], second["revision"]) == (2, 3)
        assert sets.load(connection) == second
        assert sets.load(connection, 2) == first
        assert list(sets.all_sets(connection)) == [1, 2, 3]
        with pytest.raises(InputError, match="no limit set of revision 9"):
            sets.load(connection, 9)


def test_differences_name_every_changed_value() -> None:
    before, after = sets.factory(), sets.factory()
    after["battery_min_mv"] = 3400
    after["classes"][1]["pass_cdb"] = -1600
    gone = after["classes"].pop()
    found = sets.differences(before, after)
    assert sets.Difference(None, "battery_min_mv", 3300, 3400) in found
    assert sets.Difference(48, "pass_cdb", -2000, -1600) in found
    assert sets.Difference(gone["class_khz"], "pass_cdb", gone["pass_cdb"], None) in found
    assert sets.differences(before, sets.factory()) == []


def _fleet(store: Store, vans: int, visits: int, *, repeats: int = 1, faulty: int = 0, seed: int = 1) -> None:
    """Vans with rear bumpers of 48 kHz: sensors scatter by 1 dB about -8, readings by 0.5 dB, Bert's by
    -0.6 dB.
    """
    rng = random.Random(seed)
    keys = [add_vehicle(store, f"Van {n}") for n in range(vans)]
    for number, technician in ((1, "Ann"), (2, "Bert")):
        add_round(store, number, keys, technician)
    sensors = {
        (v, p): rng.gauss(-8, 1.0) - (14 if v < faulty else 0) for v in range(vans) for p in range(1, 5)
    }
    book = Logbook(store)
    for visit in range(visits):
        values = []
        for (v, position), level in sensors.items():
            for _ in range(repeats):
                read = level + rng.gauss(0, 0.5) - (0.6 if visit % 2 else 0)
                verdict = names.PASS if read >= -17 else names.WEAK
                values.append(
                    {
                        "round_id": 1 + visit % 2,
                        "vehicle": v + 1,
                        "position": position,
                        "verdict": verdict,
                        "level_cdb": round(read * 100),
                    }
                )
        book.visit(NOON_MS + visit * 7 * DAY_MS, *values)


def _fit(store: Store, risk: float = 0.01) -> fit.ClassFit:
    with store.read() as connection:
        made = fit.of_fleet(connection, 0, risk)
    assert [row.class_khz for row in made.classes] == [48]
    return made.classes[0]


def test_a_fit_finds_what_the_fleet_was_made_with(store: Store) -> None:
    _fleet(store, vans=20, visits=6, repeats=2)
    found = _fit(store)
    assert found.sensors == 80 and found.repeat is not None
    assert found.centre_db == pytest.approx(-8.3, abs=0.4)
    assert found.spread_db == pytest.approx(1.0, abs=0.3)
    assert found.repeat.within_db == pytest.approx(0.5, abs=0.08)
    assert found.repeat.technician_db == pytest.approx(0.6 / 2**0.5, abs=0.15)
    assert found.pass_db is not None and found.tolerance_db is not None
    assert found.pass_db - found.tolerance_db == pytest.approx(2.326 * found.repeat.one_reading_db, rel=1e-3)
    assert any("one probe only" in words for words in found.warnings)


def test_faulty_sensors_do_not_drag_the_healthy_centre(store: Store) -> None:
    _fleet(store, vans=20, visits=2, faulty=3)
    found = _fit(store)
    assert found.outliers >= 12
    assert found.centre_db == pytest.approx(-8.3, abs=0.5)


def test_three_readings_propose_nothing_and_say_so(store: Store) -> None:
    van = add_vehicle(store, "Van 1")
    add_round(store, 1, [van])
    Logbook(store).visit(NOON_MS, *({"round_id": 1, "position": p} for p in (1, 2, 3)))
    found = _fit(store)
    assert found.pass_db is None and found.dead_db is None
    assert "3 sensors with 3 readings are too few" in found.warnings[0]
    with store.read() as connection:
        made = fit.of_fleet(connection, 0, 0.01)
    assert fit.proposed(sets.factory(), made) == sets.factory()


def test_a_fit_of_an_empty_history_has_no_classes(store: Store) -> None:
    with store.read() as connection:
        assert fit.of_fleet(connection, 0, 0.01).classes == []


def test_few_sensors_warn_plainly(store: Store) -> None:
    _fleet(store, vans=3, visits=1)
    words = " ".join(_fit(store).warnings)
    assert "only 12 sensors" in words and "only 0 repeated readings" in words


def test_a_smaller_risk_makes_a_higher_limit(store: Store) -> None:
    _fleet(store, vans=10, visits=2)
    limits = [_fit(store, risk).pass_db or 0.0 for risk in (0.1, 0.01, 0.001)]
    assert limits == sorted(limits) and limits[0] < limits[2]


def test_a_proposal_is_a_valid_set_with_only_levels_changed(store: Store) -> None:
    _fleet(store, vans=20, visits=2)
    with store.read() as connection:
        made = fit.proposed(sets.factory(), fit.of_fleet(connection, 0, 0.01))
    changed = {(d.class_khz, d.field) for d in sets.differences(sets.factory(), made)}
    assert changed <= {(48, "pass_cdb"), (48, "dead_cdb")} and (48, "pass_cdb") in changed


PASS, WEAK = {"verdict": names.PASS}, {"verdict": names.WEAK, "reasons": 1}
UNHEARD = {"verdict": names.DEAD, "reasons": 1 << 5, "level_cdb": records.NONE_I16}


def _read(store: Store, *groups: tuple[int, float, dict[str, int]], visits: int = 2) -> None:
    """Sensors in groups of (how many, level in dB, verdict), scattered by 0.5 dB, every visit alike."""
    rng, book = random.Random(3), Logbook(store)
    sensors = [(level, verdict) for count, level, verdict in groups for _ in range(count)]
    vans = (len(sensors) + 3) // 4
    add_round(store, 1, [add_vehicle(store, f"Van {n}") for n in range(vans)])
    for visit in range(visits):
        values = []
        for place, (level, verdict) in enumerate(sensors):
            where = {"round_id": 1, "vehicle": 1 + place // 4, "position": 1 + place % 4}
            values.append({**where, "level_cdb": round(100 * (level + rng.gauss(0, 0.5))), **verdict})
        book.visit(NOON_MS + visit * DAY_MS, *values)


def _changes(store: Store, accepted: tuple[int, ...] = ()) -> set[str]:
    with store.read() as connection:
        made = fit.proposed(sets.factory(), fit.of_fleet(connection, 0, 0.01), accepted)
    return {change.field for change in sets.differences(sets.factory(), made)}


def test_a_majority_of_worn_sensors_is_not_taken_for_healthy(store: Store) -> None:
    """Sixty of a hundred sensors at -24 dBFS, WEAK: their level becomes the centre, and no limit of it."""
    _read(store, (60, -24.0, WEAK), (40, -8.0, PASS))
    found = _fit(store)
    assert (found.standing, found.not_passing, found.would_pass, found.above) == (100, 60, 60, 40)
    assert [re.sub(r"-?[0-9.]+", "N", words) for words in found.held] == [
        "N of N sensors do not stand at PASS, so the centre may be that of worn ones",
        "N of N sensors lie far above the centre, so the healthy ones may be set aside",
        "the pass limit would fall N dB below that in force, N dBFS",
    ]
    assert found.warnings[0].startswith("TAKE CARE: 60 of the sensors that stand at WEAK or DEAD")
    assert _changes(store) == set() and _changes(store, (48,)) == {"pass_cdb", "dead_cdb"}


@pytest.mark.parametrize(
    ("groups", "held"),
    [
        (((79, -8.0, PASS), (21, -8.0, UNHEARD)), "21 of 100 sensors do not stand"),
        (((80, -8.0, PASS), (20, -8.0, UNHEARD)), ""),
        (((94, -8.0, PASS), (6, -1.0, PASS)), "6 of 100 sensors lie far above"),
        (((95, -8.0, PASS), (5, -1.0, PASS)), ""),
        (((100, -16.0, PASS),), "the pass limit would fall 4."),
        (((100, -10.5, PASS),), ""),
    ],
)
def test_each_doubt_alone_holds_a_class_back(
    store: Store, groups: tuple[tuple[int, float, dict[str, int]], ...], held: str
) -> None:
    _read(store, *groups)
    found = _fit(store)
    assert len(found.held) == bool(held) and held in " ".join(found.held), found.held
    assert found.is_proposed is not bool(held) and bool(_changes(store)) is not bool(held)


def test_what_is_proposed_although_weak_sensors_would_pass_by_it_is_said_loudly(store: Store) -> None:
    _read(store, (90, -10.2, PASS), (10, -18.2, {**WEAK}))
    found = _fit(store)
    assert found.is_proposed and found.would_pass == 7
    assert found.warnings[0].startswith(f"TAKE CARE: {found.would_pass} of the sensors")


def test_a_sensor_that_is_weak_for_another_reason_would_not_pass_by_any_limit(store: Store) -> None:
    irregular = {"verdict": names.WEAK, "reasons": names.mask_of(names.REASONS, ["irregular"])}
    _read(store, (90, -8.0, PASS), (10, -8.0, irregular))
    found = _fit(store)
    assert (found.not_passing, found.would_pass) == (10, 0)
    assert not any("TAKE CARE" in words for words in found.warnings)


def test_a_sensor_stands_by_its_newest_reading(store: Store) -> None:
    _read(store, (30, -24.0, WEAK), visits=1)
    book = Logbook(store, "e660c0d1c7302a22")
    places = [{"vehicle": 1 + n // 4, "position": 1 + n % 4} for n in range(30)]
    book.visit(NOON_MS + DAY_MS, *({"round_id": 1, **place, "level_cdb": -800} for place in places))
    assert (_fit(store).standing, _fit(store).not_passing) == (30, 0)


def test_a_retrofitted_class_is_fitted_apart(store: Store) -> None:
    van = add_vehicle(store, "Van 1", class_khz=40)
    add_round(store, 1, [van])
    book = Logbook(store)
    book.visit(NOON_MS, *({"round_id": 1, "position": p, "class_khz": 40} for p in range(1, 5)))
    book.visit(NOON_MS + DAY_MS, *({"round_id": 1, "position": p, "class_khz": 58} for p in range(1, 5)))
    with store.read() as connection:
        assert [(row.class_khz, row.sensors) for row in fit.of_fleet(connection, 0, 0.01).classes] == [
            (40, 4),
            (58, 4),
        ]


def test_the_effect_counts_what_would_have_been_another_verdict(store: Store) -> None:
    van = add_vehicle(store, "Van 1")
    add_round(store, 1, [van])
    irregular = {"verdict": names.WEAK, "reasons": names.mask_of(names.REASONS, ["irregular"])}
    Logbook(store).visit(
        NOON_MS,
        {"level_cdb": -800},
        {"level_cdb": -1650},
        {"level_cdb": -3600, "verdict": names.DEAD, "reasons": 1},
        {**irregular, "level_cdb": -800},
    )
    stricter = sets.factory()
    for row in stricter["classes"]:
        row["pass_cdb"], row["dead_cdb"] = -1500, -3800
    with store.read() as connection:
        found = effect.last_month(connection, stricter, NOON_MS + DAY_MS)
        assert found == effect.Effect(4, {"pass to weak": 1, "dead to weak": 1})
        assert effect.last_month(connection, sets.factory(), NOON_MS + DAY_MS).changed == {}
        assert effect.last_month(connection, stricter, NOON_MS + 40 * DAY_MS).judged == 0
    assert "1 from pass to weak" in effect.in_words(found)


@given(st.integers(-5900, -100), st.integers(-5900, -100))
def test_judging_is_monotonic_in_the_level(a: int, b: int) -> None:
    class Row:
        reasons, class_khz, frequency_hz = 0, 48, 48000

        def __init__(self, level_cdb: int) -> None:
            self.level_cdb = level_cdb

    order = (names.DEAD, names.WEAK, names.PASS)
    low, high = sorted((a, b))
    judged = [effect.judge(Row(level), sets.factory()) for level in (low, high)]
    assert None not in judged
    assert order.index(judged[0] or 0) <= order.index(judged[1] or 0)
