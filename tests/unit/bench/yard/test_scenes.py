"""The benchmark's population and the demo day: drawn as documented, and the same each time."""

import collections
import json
from pathlib import Path

import numpy as np
import pytest
from curbtick.device import demo_data_folder
from curbtick.errors import InputError
from curbtick.yard.ear.faults import NONE, SENSOR_FAULTS
from curbtick.yard.scenes import day, population, scenes, vehicles
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.names import BUMPER_RESULTS, INPUT_LOW, VERDICTS

RECIPES = [population.random_recipe(seed) for seed in range(1_500)]


def share(condition: collections.abc.Callable[[scenes.Recipe], bool]) -> float:
    """Share of the recipes for which a condition holds."""
    return sum(map(condition, RECIPES)) / len(RECIPES)


def test_shares_of_the_population_are_the_documented_ones() -> None:
    faulty_probe = share(lambda recipe: recipe.probe.fault != "none")
    assert faulty_probe == pytest.approx(0.05, abs=0.02)
    assert share(lambda recipe: recipe.fade is not None) == pytest.approx(0.03, abs=0.015)
    assert share(lambda recipe: not recipe.neighbours and recipe.fault.silent) == pytest.approx(
        0.04, abs=0.02
    )
    assert share(lambda recipe: 160.0 <= recipe.interval_ms <= 220.0) == pytest.approx(0.60, abs=0.04)
    assert {recipe.fault.kind for recipe in RECIPES} == {NONE, *SENSOR_FAULTS}


def test_ranges_of_the_population() -> None:
    for recipe in RECIPES:
        assert 30.0 <= recipe.interval_ms <= 495.0
        assert 0.045 <= recipe.seat.distance_m <= 0.060 and 0.0 <= recipe.seat.aim_deg <= 10.0
        assert abs(recipe.sensor.resonance_hz - recipe.sensor.class_khz * 1e3) <= 5_000.0
        assert 4 <= recipe.sensor.cycles <= 20
        assert all(neighbour.level_dbfs <= -43.0 for neighbour in recipe.neighbours)
        assert 32_000.0 <= recipe.fault.of(recipe.sensor).resonance_hz <= 78_500.0


def test_the_truth_about_healthy_sensors_is_pass_or_near_a_limit() -> None:
    healthy = [seed for seed, recipe in enumerate(RECIPES[:200]) if recipe.fault.kind == NONE]
    for seed in healthy:
        scene = scenes.random_scene(seed)
        answer = scene.judge(scene.start_us + 1_300_000)
        if not answer.apart and answer.kind == "healthy":
            assert answer.accept == {VERDICTS.index("pass")}
    assert len(healthy) > 80


def test_a_seed_is_a_scene() -> None:
    for seed in range(8):
        first, second = (scenes.random_scene(seed).ear.read(30_000, INPUT_LOW, 1_000) for _ in range(2))
        assert np.array_equal(first, second)


def test_seeds_differ() -> None:
    assert len({recipe.phase_ms for recipe in RECIPES}) == len(RECIPES)


@pytest.mark.parametrize("seed", range(1, 13))
def test_every_place_of_the_day_has_one_right_verdict(seed: int) -> None:
    today = day.load(seed)
    for place in today.places():
        answer = today.scene(place).judge(day.JUDGED_US)
        assert len(answer.accept) == 1 and not answer.apart, place


def away_db(scene: scenes.Scene) -> float:
    """How far a level is from the nearer of its limits."""
    assert scene.truth.burst is not None
    limits = scenes.FACTORY_CLASSES[scene.truth.class_khz]
    return min(abs(scene.truth.burst.level_dbfs - limits[name] / 100) for name in ("pass_cdb", "dead_cdb"))


@pytest.mark.parametrize("seed", range(1, 6))
def test_the_days_faults_keep_3_db_from_every_limit(seed: int) -> None:
    """A factor of 1.41 where a limit is not a level, and a kilohertz and more beyond the frequency's margin."""
    today = day.load(seed)
    for place in today.places():
        scene = today.scene(place)
        burst, limits = scene.truth.burst, scenes.FACTORY_CLASSES[scene.truth.class_khz]
        if burst is None:
            continue
        assert away_db(scene) >= 3.0
        assert abs(limits["window_hz"] - abs(burst.frequency_hz - limits["centre_hz"])) >= 2_000.0
        for name in ("ringdown_min_us", "ringdown_max_us"):
            assert max(burst.ringdown_us / limits[name], limits[name] / burst.ringdown_us) >= 1.41


def test_a_seed_does_not_change_the_days_faults() -> None:
    first, second = day.load(1), day.load(99)
    verdicts = [[today.expected(place) for place in today.places()] for today in (first, second)]
    assert verdicts[0] == verdicts[1]
    place = next(first.places())
    assert first.scene(place).truth.burst != second.scene(place).truth.burst


def test_the_day_has_what_it_must() -> None:
    today = day.load(1)
    found = {today.expected(place).fault for place in today.places()}
    assert found == {NONE, *SENSOR_FAULTS, "not_transmitting"}
    bumpers = [bumper for vehicle in today.vehicles for bumper in vehicle.bumpers.values()]
    assert len(today.vehicles) >= 8
    assert {vehicle.type for vehicle in today.vehicles} >= {"van", "minibus", "refuse truck"}
    assert {bumper.positions for bumper in bumpers} == {4, 6}
    assert {bumper.class_khz for bumper in bumpers} == set(CLASSES_KHZ)
    assert any("front" in vehicle.bumpers for vehicle in today.vehicles)
    assert all(120.0 <= vehicle.interval_ms <= 300.0 for vehicle in today.vehicles)


def test_bumper_results_of_the_day() -> None:
    today = day.load(1)
    results = {
        today.bumper_expected(vehicle.number, bumper).result
        for vehicle in today.vehicles
        for bumper in vehicle.bumpers
    }
    assert results == {"all_pass", "repair", "not_transmitting"} <= set(BUMPER_RESULTS)


def test_a_repair_turns_dead_into_pass() -> None:
    today = day.load(1)
    (place,) = today.repairs
    assert today.expected(place).verdict == "dead"
    assert today.expected(place, repaired=True).verdict == "pass"
    assert today.bumper_expected(place.vehicle, place.bumper, repaired=True).result == "all_pass"


def test_demo_files_say_how_they_were_made() -> None:
    files = list(demo_data_folder().glob("*.json"))
    assert len(files) >= 2
    assert all(len(vehicles.read_json(path)["made"]) > 40 for path in files)


WRONG = [
    ("{", "cannot be read"),
    ("[]", "not a JSON object"),
    ("{}", "no vehicles"),
    (json.dumps({"vehicles": [{"name": "A"}]}), "vehicle 1 has no type"),
]


@pytest.mark.parametrize(("text", "what"), WRONG)
def test_a_wrong_depot_file_is_a_clear_error(tmp_path: Path, text: str, what: str) -> None:
    path = tmp_path / "depot.json"
    path.write_text(text)
    with pytest.raises(InputError, match=what) as caught:
        vehicles.read_vehicles(path)
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("bumper", "what"),
    [
        ({"positions": 7, "class_khz": 48}, "1 to 6 positions, not 7"),
        ({"positions": 4, "class_khz": 50}, "no class 50"),
        ({"positions": 4, "class_khz": 48, "faults": {"5": {"kind": "dead"}}}, "position 5 is not on"),
        ({"positions": 4, "class_khz": 48, "faults": {"1": {"kind": "tired"}}}, "no fault called tired"),
        ({"positions": 4, "class_khz": 48, "faults": {"1": {"kind": "weak", "hz": 1}}}, "does not take hz"),
    ],
)
def test_a_wrong_bumper_is_a_clear_error(tmp_path: Path, bumper: dict[str, object], what: str) -> None:
    path = tmp_path / "depot.json"
    path.write_text(
        json.dumps({"vehicles": [{"name": "A", "type": "van", "interval_ms": 200, "rear": bumper}]})
    )
    with pytest.raises(InputError, match=what):
        vehicles.read_vehicles(path)
