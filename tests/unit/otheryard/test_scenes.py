"""Scenes as the probe reads them: levels, times, determinism, and what every kind must keep."""

import ast
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from curbtick_wire.names import INPUT_HIGH, INPUT_LOW, INPUT_PADDED, VERDICTS

from tests.bench import otheryard
from tests.bench.otheryard.bumper import setting
from tests.bench.otheryard.catalog import BUMPER, bumper_scene
from tests.bench.otheryard.foreign.source import Steady
from tests.bench.otheryard.front.converter import Converter
from tests.bench.otheryard.physics.level import burst_level_db, fall_time, time_within_db
from tests.bench.otheryard.scene import Scene
from tests.bench.otheryard.truth import DEAD_DBFS, NEIGHBOUR_DBFS, PASS_DBFS, Truth
from tests.bench.otheryard.vehicle.bumper import Arrivals
from tests.unit.otheryard.heard import bursts, codes

NAMES = list(BUMPER)
MEASURED = (
    "in_turn",
    "in_groups",
    "swept",
    "phase_coded",
    "two_tone",
    "short_burst",
    "weak",
    "wet",
    "cracked",
)


def scene_of(kind: str, seed: int) -> Scene:
    return bumper_scene(seed, NAMES.index(kind))


def without_converter_noise(scene: Scene) -> Scene:
    """The same scene through a converter of 13 bits: noise on top of a flat burst lifts its peak by some 0.3 dB."""
    scene.stream.unit = replace(scene.stream.unit, converter=Converter(13.0))
    return scene


@pytest.mark.parametrize("kind", MEASURED)
def test_the_held_sensors_level_is_what_the_truth_says(kind: str) -> None:
    """Median over the bursts that are heard, by another envelope than the yard's own, within 0.3 dB."""
    differences = []
    for seed in range(4):
        scene = without_converter_noise(scene_of(kind, seed))
        level_dbfs = scene.truth.level_dbfs
        assert level_dbfs is not None
        _, levels = bursts(codes(scene, 2.0), level_dbfs - 6)
        assert len(levels) >= 3
        differences.append(float(np.median(levels)) - level_dbfs)
    assert np.abs(differences).max() < 0.3, differences


def test_hopping_bursts_are_as_loud_as_each_is_meant() -> None:
    """A group of frequencies has levels of its own, so the median depends on which bursts are heard."""
    for seed in range(4):
        scene = without_converter_noise(scene_of("hopping", seed))
        arrivals = scene.stream.sources[0]
        assert isinstance(arrivals, Arrivals) and scene.truth.level_dbfs is not None
        meant = [
            (a.at_s, burst_level_db(a.sensor.wave(a.burst, 0.0))) for a in arrivals.arrivals if a.gain == 1.0
        ]
        at_s, levels = bursts(codes(scene, 2.0), scene.truth.level_dbfs - 8)
        for heard_s, level_dbfs in zip(at_s, levels, strict=True):
            nearest = min(meant, key=lambda each: abs(each[0] - heard_s))
            assert abs(nearest[0] - heard_s) < 2e-3
            assert level_dbfs == pytest.approx(nearest[1], abs=0.3)


def test_the_padded_input_measures_a_sensor_that_clips_the_low_one() -> None:
    for seed in range(4):
        scene = scene_of("strong", seed)
        assert scene.truth.level_dbfs is not None
        assert codes(scene, 1.0).min() <= scene.stream.unit.stops[0]
        _, levels = bursts(codes(scene, 1.0, INPUT_PADDED), -30)
        reached_dbfs = np.median(levels) + 12.03
        assert scene.truth.level_dbfs - 1.5 < reached_dbfs < scene.truth.level_dbfs + 0.3, (
            "the microphone flattens"
        )


def test_bursts_come_when_the_scheduler_says() -> None:
    """Without the converter's noise, which moves the peak of a flat burst by more than the scheduler errs."""
    for seed in range(4):
        scene = without_converter_noise(scene_of("in_turn", seed))
        at_s, _ = bursts(codes(scene, 2.0), -22)
        interval_s = scene.note["slot_ms"] * scene.note["sensors"] / 1e3
        assert np.diff(at_s) == pytest.approx(interval_s, abs=150e-6)


def test_a_loose_contact_leaves_out_bursts() -> None:
    for kind, step in (("loose_second", 2), ("loose_third", 3)):
        scene = scene_of(kind, 3)
        at_s, _ = bursts(codes(scene, 3.0), -22)
        assert np.diff(at_s) == pytest.approx(
            step * scene.note["slot_ms"] * scene.note["sensors"] / 1e3, abs=150e-6
        )


@pytest.mark.parametrize("kind", ["loose_random", "loose_stretches"])
def test_a_loose_contact_never_sends_three_in_a_row(kind: str) -> None:
    for seed in range(6):
        scene = scene_of(kind, seed)
        due_s = scene.note["slot_ms"] * scene.note["sensors"] / 1e3
        at_s, _ = bursts(codes(scene, 3.0), -22)
        steps = np.rint(np.diff(at_s) / due_s)
        assert not np.any((steps[:-1] == 1) & (steps[1:] == 1))
        assert np.sum(steps > 1) >= 1


def test_no_sibling_comes_over_what_the_collar_lets_through() -> None:
    """At least 35 dB of shading (DESIGN), and never above what a neighbour of the class reaches."""
    for seed in range(6):
        scene = scene_of("dead", seed)
        arrivals = scene.stream.sources[0]
        assert isinstance(arrivals, Arrivals)
        most_dbfs = scene.limits["neighbour_cdb"] / 100
        for arrival in arrivals.arrivals[:12]:
            shade_db = -20 * np.log10(arrival.gain)
            assert shade_db >= 35
            assert burst_level_db(arrival.sensor.wave(arrival.burst, 0.0)) - shade_db < most_dbfs + 0.2


def test_a_loud_sibling_is_shaded_all_the_more() -> None:
    """Sensors of -3 dBFS, the loudest that are drawn, stay below it too."""
    for seed in range(8):
        world = setting.drawn(np.random.default_rng(seed), least=3)
        sensors = [world.sensor(-3.0) for _ in range(world.count)]
        places = world.places(list(sensors), shade_most_db=36.5)
        reached = [-3.0 - place.shade_db for n, place in enumerate(places) if n != world.held]
        assert max(reached) < NEIGHBOUR_DBFS[world.class_khz] - 0.2


def test_siblings_are_heard_at_all() -> None:
    """Most bumpers' loudest sibling stands clear of the converter's noise, within what noise on top adds."""
    loudest = [max(bursts(codes(scene_of("dead", seed), 2.0), -53)[1], default=-99.0) for seed in range(6)]
    assert -52 < np.median(loudest) < -40


def test_the_next_vehicle_stays_below_its_figure() -> None:
    for seed in range(4):
        heard = scene_of("next_same_class", seed).stream.sources[1:]
        arrivals = next(source for source in heard if isinstance(source, Arrivals))
        assert max(20 * np.log10(arrival.gain) for arrival in arrivals.arrivals) <= -56


@pytest.mark.parametrize("kind", ["in_turn", "only_keys", "microphone_open", "dead_beside_electric"])
def test_a_scene_is_the_same_however_it_is_read(kind: str) -> None:
    index = NAMES.index(kind)
    whole = bumper_scene(9, index).read(30_000, INPUT_LOW, 1_000)
    again = bumper_scene(9, index)
    again.read(10, INPUT_HIGH, 1_000)
    pieces = [again.read(700, INPUT_LOW, 1_000 + 4 * 700 * n) for n in range(42)]
    assert np.array_equal(np.concatenate(pieces), whole[: 42 * 700])
    assert not np.array_equal(bumper_scene(10, index).read(30_000, INPUT_LOW, 1_000), whole)


def test_reading_backwards_is_refused() -> None:
    scene = bumper_scene(1, 0)
    scene.read(10, INPUT_LOW, 50_000)
    with pytest.raises(ValueError, match="read forwards"):
        scene.read(10, INPUT_LOW, 49_000)


@pytest.mark.parametrize("kind", NAMES)
def test_every_kind_sounds_and_has_a_truth(kind: str) -> None:
    scene = scene_of(kind, 21)
    truth = scene.truth
    assert truth.best and truth.best | truth.accepted | truth.must_not <= set(VERDICTS)
    assert not truth.must_not & (truth.best | truth.accepted)
    with np.errstate(invalid="raise", divide="raise"):
        read = scene.read(375_000, INPUT_LOW, 0)
    assert read.dtype == np.uint16 and read.max() < 4096 and np.std(read) > 1
    if not truth.transmits:
        assert truth.best == {"retry"} and truth.must_not == {"pass", "dead"}
    if truth.dead:
        assert "pass" in truth.must_not
    limits = scene.limits
    assert limits["pass_cdb"] == 100 * PASS_DBFS[scene.class_khz] and limits["dead_cdb"] == 100 * DEAD_DBFS
    assert limits["neighbour_cdb"] == 100 * NEIGHBOUR_DBFS[scene.class_khz]
    assert scene.class_khz == limits["class_khz"]


def test_a_source_that_gives_no_number_is_named() -> None:
    scene = scene_of("silence", 1)
    scene.stream.sources.append(Steady(lambda at_s: at_s * np.nan, 0.0))
    with pytest.raises(FloatingPointError, match="broken"):
        scene.read(100, INPUT_LOW, 0)


def held_wave(scene: Scene) -> np.ndarray:
    arrivals = scene.stream.sources[0]
    assert isinstance(arrivals, Arrivals)
    loudest = max(arrivals.arrivals, key=lambda arrival: arrival.gain)
    return loudest.sensor.wave(loudest.burst, 0.0)


@pytest.mark.parametrize("kind", [k for k in NAMES if bumper_scene(2, NAMES.index(k)).truth.sound])
def test_what_is_called_sound_keeps_to_the_limits(kind: str) -> None:
    """Level, frequency, length and ring-down of the held sensor, by the definitions and the factory's limits."""
    for seed in (2, 3):
        scene = scene_of(kind, seed)
        if not scene.truth.sound:
            continue
        limits, wave = scene.limits, held_wave(scene)
        if scene.truth.level_dbfs is not None:
            assert scene.truth.level_dbfs >= PASS_DBFS[scene.class_khz] + 1.0
        if scene.truth.frequency_hz is not None:
            assert abs(scene.truth.frequency_hz - scene.centre_hz) < limits["window_hz"] - 2000
        assert 1e6 * time_within_db(wave, 6) < limits["burst_max_us"]
        assert limits["ringdown_min_us"] < 1e6 * fall_time(wave, 20) < limits["ringdown_max_us"]


@pytest.mark.parametrize(("kind", "measure"), [("overlong", "length"), ("long_ringing", "ring")])
def test_what_is_called_odd_breaks_a_limit(kind: str, measure: str) -> None:
    for seed in range(4):
        scene = scene_of(kind, seed)
        wave, limits = held_wave(scene), scene.limits
        if measure == "length":
            assert 1e6 * time_within_db(wave, 6) > 1.15 * limits["burst_max_us"]
        else:
            assert 1e6 * fall_time(wave, 20) > 1.15 * limits["ringdown_max_us"]


def test_off_frequency_lies_outside_the_window() -> None:
    for seed in range(6):
        scene = scene_of("off_frequency", seed)
        assert scene.truth.frequency_hz is not None
        assert abs(scene.truth.frequency_hz - scene.centre_hz) > scene.limits["window_hz"] + 1000


def test_kinds_are_many_and_few_are_apart() -> None:
    truths: list[Truth] = [bumper_scene(4, index).truth for index in range(len(NAMES))]
    assert len(NAMES) >= 40
    assert len({truth.apart for truth in truths} - {None}) <= 4
    assert sum(not truth.transmits for truth in truths) >= 30


def test_the_yard_imports_nothing_of_what_it_judges() -> None:
    folder = Path(otheryard.__file__).parent
    allowed = {"numpy", "scipy", "curbtick", "curbtick_wire", "tests"}
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                top = name.split(".")[0]
                assert top != "curbtick" or name.startswith("curbtick.hardware"), path
                assert top in allowed or top in sys.stdlib_module_names, (path, name)
                assert top != "tests" or name.startswith("tests.bench.otheryard"), (path, name)
