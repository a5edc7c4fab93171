"""The seal and the hiss check on the panel, run by MicroPython."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.virtual.bus import BOTH, READ
from curbtick.virtual.technician import LONG_MS
from curbtick_wire import records

from tests.pair.app_bench import REAR, Bench, Steady, healthy


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
