"""The seal and the hiss check on the panel, run by MicroPython."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.virtual import bar
from curbtick.virtual.bus import BOTH, READ, STEP
from curbtick.virtual.technician import LONG_MS
from curbtick_wire import records
from curbtick_wire.names import CHECKS

from tests.pair.app_bench import REAR, Bench, Steady, healthy

SHORT_MS = 80


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path)
    yield made
    made.probe.close()


def test_checks_change_round_and_a_reading_still_finds_its_room(bench: Bench) -> None:
    bench.read(healthy())
    bench.probe.press(BOTH, LONG_MS)
    bench.probe.run_for(4000)
    assert bench.probe.bar == 0x0F0
    bench.probe.press(BOTH, LONG_MS)
    bench.probe.run_for(4000)
    bench.probe.press(BOTH, LONG_MS)
    bench.probe.run_until_idle()
    assert bench.at(REAR, 2)
    assert bench.read(healthy(seed=2)).words == ("pass",)


def test_a_seal_check_from_reference_to_confirmed_sections(bench: Bench) -> None:
    free, leak, tight = Steady(400.0), Steady(80.0), Steady(4.0)
    bench.probe.ear = free
    bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ)
    assert bench.probe.bar & 0x7FF == 0x7FF
    for ear in (leak, tight):
        bench.probe.ear = ear
        bench.thumbs.meter_press(READ)
    bench.thumbs.meter_press(READ)
    bench.probe.ear = free
    bench.probe.run_for(1000)
    words = bench.thumbs.meter_press(READ, LONG_MS, settle_ms=8000)
    assert words == ("leak", "tight", "mark")
    bench.leave_checks(2)
    marks = bench.log(records.SEAL)
    assert [mark.values["verdict"] for mark in marks[-2:]] == [2, 1]
    assert all(mark.values["vehicle"] == 3 and mark.values["round_id"] == 7 for mark in marks)


def test_a_hiss_check_from_background_to_mark(bench: Bench) -> None:
    bench.probe.ear = Steady(0.0)
    for _ in range(2):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ, settle_ms=8000)
    bench.probe.ear = Steady(0.0, noise=20.0)
    bench.probe.run_for(3000)
    assert bench.thumbs.meter_press(READ) == ("hiss",)
    bench.leave_checks(1)
    (mark,) = bench.log(records.HISS)
    assert mark.values["verdict"] == 2 and 1900 <= mark.values["above_background_cdb"] <= 2100


PRESSES = {
    "read": (READ, SHORT_MS),
    "read_long": (READ, LONG_MS),
    "step": (STEP, SHORT_MS),
    "step_long": (STEP, LONG_MS),
    "both": (BOTH, SHORT_MS),
}


@pytest.mark.parametrize("check", ["seal", "hiss"])
def test_every_gesture_does_what_the_table_says_and_no_other_does_anything(bench: Bench, check: str) -> None:
    """What the bar answers to each gesture in a check; the one that leaves it apart, and no press is double there."""
    answers = {
        "mark": {"mark", "retry"},
        "reference": {"mark", "retry"},
        "response": {"mark"},
        "show_current": set(),
        "next_vehicle": set(),
        None: {"refused"},
    }
    bench.probe.ear = Steady(0.0)
    for _ in range(CHECKS.index(check)):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    for gesture, (buttons, hold_ms) in PRESSES.items():
        action = bar.probe_gestures()["GESTURE_TABLE"].get((check, gesture))
        first = len(bench.probe.panel.bars)
        bench.probe.press(buttons, hold_ms)
        bench.probe.run_for(9000)
        seen = bar.shown(bench.probe.panel.bars[first:], bench.probe.now_us)
        said = set(bar.read_bar(seen)) - {"quiet", "tight"}
        assert said <= answers[action], gesture
        if action is None or action == "response":
            assert said == answers[action], gesture
        vehicle = {"next_vehicle": 12, "show_current": 3}.get(str(action))
        assert bar.read_vehicle(seen) == vehicle, gesture
