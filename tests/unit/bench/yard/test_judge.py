"""What a reading must be, case by case."""

from dataclasses import replace

import pytest
from curbtick.yard.air.collar import Inside
from curbtick.yard.ear import faults
from curbtick.yard.ear.faults import Fault
from curbtick.yard.ear.probe_state import PROBE_FAULTS, ProbeState
from curbtick.yard.front_end.timebase import ticks_of_ms
from curbtick.yard.scenes import scenes
from curbtick.yard.scenes.build import Recipe, Scene
from curbtick.yard.sounds.noise import Broadband
from curbtick.yard.sounds.sensors import Sensor
from curbtick.yard.sounds.sources import Fade
from curbtick_wire.names import DEAD, PASS, RETRY, WEAK

SECOND_US = 1_200_000.0


def changed(fault: Fault = faults.HEALTHY, siblings: int = 3, **fields: object) -> Scene:
    """A healthy 48 kHz sensor at 200 ms, changed."""
    recipe: Recipe = scenes.single_scene(siblings=siblings, phase_ms=10.0).recipe
    return scenes.build(replace(recipe, fault=fault, **fields), 1)  # type: ignore[arg-type]


CASES = [
    (faults.HEALTHY, {PASS}),
    (faults.weak(15.0), {WEAK}),
    (faults.weak(30.0), {DEAD}),
    (faults.DEAD, {DEAD}),
    (faults.off_frequency(9_000.0), {WEAK}),
    (faults.off_frequency(-9_000.0), {WEAK}),
    (faults.off_frequency(4_500.0), {PASS}),
    (faults.long_ringing(1_800.0), {WEAK}),
    (faults.loose_contact(), {WEAK}),
    (faults.painted(14.0), {WEAK}),
    (faults.iced(20.0), {WEAK}),
]


@pytest.mark.parametrize(("fault", "accept"), CASES, ids=lambda value: getattr(value, "kind", ""))
def test_a_fault_has_one_right_verdict(fault: Fault, accept: set[int]) -> None:
    answer = changed(fault).judge(SECOND_US)
    assert answer.accept == accept
    assert answer.apart == ()


def test_short_ringing_shows_where_the_collar_is_quiet() -> None:
    """The collar's echoes hold the tail of a 48 kHz burst near -20 dB; a quieter collar lets a 58 kHz one show it."""
    hidden = changed(faults.short_ringing()).judge(SECOND_US)
    assert PASS in hidden.accept and hidden.apart == ("ringdown",)
    quiet = Inside((25.0, 50.0), ((35.0, 28.0),))
    shown = changed(faults.short_ringing(), sensor=Sensor(58, 58_000.0), inside=quiet).judge(SECOND_US)
    assert (set(shown.accept), shown.apart) == ({WEAK}, ())


@pytest.mark.parametrize("fault", [name for name in PROBE_FAULTS if name != "none"])
@pytest.mark.parametrize("sensor", [faults.HEALTHY, faults.DEAD], ids=["healthy", "dead"])
def test_a_faulty_probe_gives_no_verdict(fault: str, sensor: Fault) -> None:
    answer = changed(sensor, probe=ProbeState(fault)).judge(SECOND_US)
    assert (answer.kind, set(answer.accept), answer.apart) == ("probe_fault", {RETRY}, ())


def test_silence_alone_proves_nothing() -> None:
    assert changed(faults.DEAD, siblings=0).judge(SECOND_US).accept == {RETRY}


def test_silence_where_the_bumper_was_heard_before_is_dead() -> None:
    assert changed(faults.DEAD, siblings=0, heard_before=True).judge(SECOND_US).accept == {DEAD}


def test_siblings_that_nobody_must_hear_leave_both() -> None:
    scene = scenes.single_scene(fault=faults.DEAD, sibling_dbfs=-60.0)
    assert scene.judge(SECOND_US).accept == {DEAD, RETRY}


@pytest.mark.parametrize(
    ("limit", "over_db", "accept", "apart"),
    [
        ("pass_cdb", 1.6, {PASS}, ()),
        ("pass_cdb", 1.0, {PASS, WEAK}, ("level",)),
        ("pass_cdb", -1.0, {PASS, WEAK}, ("level",)),
        ("pass_cdb", -1.6, {WEAK}, ()),
        ("dead_cdb", 1.6, {WEAK}, ()),
        ("dead_cdb", 1.0, {WEAK, DEAD}, ("level",)),
        ("dead_cdb", -1.0, {WEAK, DEAD}, ("level",)),
        ("dead_cdb", -1.6, {DEAD}, ()),
    ],
)
def test_levels_near_a_limit_are_counted_apart(
    limit: str, over_db: float, accept: set[int], apart: tuple[str, ...]
) -> None:
    level_dbfs = scenes.FACTORY_CLASSES[48][limit] / 100 + over_db
    answer = scenes.single_scene(level_dbfs=level_dbfs).judge(SECOND_US)
    assert (set(answer.accept), answer.apart) == (accept, apart)


@pytest.mark.parametrize(
    ("shift_hz", "accept", "apart"),
    [(5_300.0, {PASS}, ()), (6_200.0, {PASS, WEAK}, ("frequency",)), (7_700.0, {WEAK}, ())],
)
def test_frequencies_near_a_limit_are_counted_apart(
    shift_hz: float, accept: set[int], apart: tuple[str, ...]
) -> None:
    answer = scenes.single_scene(sensor=Sensor(48, 48_000.0 + shift_hz)).judge(SECOND_US)
    assert (set(answer.accept), answer.apart) == (accept, apart)


def test_one_of_six_missing_is_counted_apart() -> None:
    fault = Fault("intermittent", missing=1 / 6, pattern=(1, 1, 0, 1, 1, 1))
    answer = changed(fault).judge(SECOND_US)
    assert (answer.due, answer.sent, answer.apart) == (6, 5, ("missing",))
    assert answer.accept == {PASS, WEAK}


def test_a_half_that_looks_slower_is_apart_only_without_siblings() -> None:
    fault = Fault("intermittent", missing=0.5, pattern=(1, 0))
    clear = scenes.single_scene(fault=fault, sibling_dbfs=-46.0)
    assert clear.judge(SECOND_US).apart == ()
    alone = scenes.single_scene(fault=fault, siblings=1, sibling_dbfs=-46.0)
    assert alone.judge(SECOND_US).apart == ("slower",)
    assert changed(fault, siblings=0).judge(SECOND_US).apart == ("slower",)


def test_a_slip_of_the_probe_is_no_verdict() -> None:
    answer = changed(fade=Fade(ticks_of_ms(550.0), 0.1, 4_000)).judge(SECOND_US)
    assert (answer.kind, set(answer.accept), answer.apart) == ("moved", {RETRY}, ())


def test_a_slip_after_the_reading_does_not_count() -> None:
    assert changed(fade=Fade(ticks_of_ms(1_550.0), 0.1, 4_000)).judge(SECOND_US).accept == {PASS}


def test_a_slip_near_an_end_is_counted_apart() -> None:
    assert changed(fade=Fade(ticks_of_ms(100.0), 0.1, 4_000)).judge(SECOND_US).apart == ("moved_at_edge",)


@pytest.mark.parametrize(("noise_dbfs", "apart"), [(-33.0, ()), (-31.0, ("noise",)), (-20.0, ("noise",))])
def test_noise_above_the_limit_is_counted_apart(noise_dbfs: float, apart: tuple[str, ...]) -> None:
    answer = changed(layers=(Broadband("hiss", noise_dbfs, 0),)).judge(SECOND_US)
    assert answer.apart == apart
    assert (RETRY in answer.accept) == bool(apart)


def test_other_limits_change_the_answer() -> None:
    stricter = {**scenes.FACTORY_CLASSES[48], "pass_cdb": -500}
    assert changed().judge(SECOND_US, stricter).accept == {WEAK}
