"""The seal and the hiss check on the panel, run by MicroPython."""

import numpy as np
import pytest
from curbtick.virtual.demo.technician import LONG_MS
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, READ, STEP, BarChange
from curbtick_wire import records
from curbtick_wire.names import CHECKS
from numpy.typing import NDArray

from tests.pair.app.bench import REAR, Bench, Steady, bench, healthy

__all__ = ["bench"]

SHORT_MS = 80
# White noise as loud as a live microphone's own.
BACKGROUND_CODES = 12.0
# The bar while a reference or a background is asked for.
NOT_YET = bar.probe_patterns()["METER_PATTERNS"]["no_reference"][0]


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
    bench.probe.ear = Steady(0.0, noise=BACKGROUND_CODES)
    for _ in range(2):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ, settle_ms=8000)
    bench.probe.ear = Steady(0.0, noise=10 * BACKGROUND_CODES)
    bench.probe.run_for(3000)
    assert bench.thumbs.meter_press(READ) == ("hiss",)
    bench.leave_checks(1)
    (mark,) = bench.log(records.HISS)
    assert mark.values["verdict"] == 2 and 1900 <= mark.values["above_background_cdb"] <= 2100


class Fading(Steady):
    """A steady tone that begins to fade, so many dB a second, when it is first heard."""

    def __init__(self, peak: float, db_per_s: float) -> None:
        super().__init__(peak)
        self._db_per_s = db_per_s
        self._first_us: int | None = None
        self._full = peak

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        if self._first_us is None:
            self._first_us = start_us
        self.peak = self._full * 10 ** (-self._db_per_s * (start_us - self._first_us) / 20e6)
        return super().read(count, input, start_us)


class Gusty(Steady):
    """White noise that is ten times as strong every other 0.3 s."""

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        self.noise = BACKGROUND_CODES * (10.0 if start_us // 300_000 % 2 else 1.0)
        return super().read(count, input, start_us)


def changes_of(bench: Bench, duration_ms: int) -> list[BarChange]:
    """Let the meter run and return how the bar changed."""
    first = len(bench.probe.panel.bars)
    bench.probe.run_for(duration_ms)
    return bench.probe.panel.bars[first:]


def lit_from_left(mask: int) -> int:
    """How many LEDs are lit without a gap from the left."""
    return f"{mask:012b}"[::-1].find("0") if mask != 0xFFF else 12


def begin_hiss(bench: Bench, noise: float) -> None:
    """Come to the hiss check and have a background of white noise taken."""
    bench.probe.ear = Steady(0.0, noise=noise)
    for _ in range(2):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ, settle_ms=9000)


def louder(rise_db: float) -> Steady:
    """White noise so much above BACKGROUND_CODES; whole codes add their own twelfth to both."""
    variance = (BACKGROUND_CODES**2 + 1 / 12) * 10 ** (rise_db / 10) - 1 / 12
    return Steady(0.0, noise=variance**0.5)


def test_the_bar_follows_a_moving_level_five_times_a_second(bench: Bench) -> None:
    """A tone fading by 16 dB a second moves on by an LED of 3 dB in every update."""
    bench.probe.ear = Steady(400.0)
    bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ)
    bench.probe.ear = Fading(400.0, 16.0)
    times_us = [change.time_us for change in changes_of(bench, 2300)]
    assert len(times_us) >= 9
    for n, start_us in enumerate(times_us):
        if start_us + 1_000_000 <= times_us[-1]:
            assert sum(time_us <= start_us + 1_000_000 for time_us in times_us[n + 1 :]) >= 5


def test_the_bar_says_within_a_second_that_the_tone_is_lost(bench: Bench) -> None:
    """Whenever in an update the source stops; and the bar shows a level again once it is back."""
    ends = bar.probe_patterns()["METER_PATTERNS"]["lost"][0]
    playing = Steady(400.0)
    bench.probe.ear = playing
    bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ)
    for phase_ms in (0, 50, 100, 150):
        bench.probe.ear = playing
        bench.probe.run_for(1500 + phase_ms)
        assert lit_from_left(bench.probe.bar) >= 11
        stopped_us = bench.probe.now_us
        bench.probe.ear = Steady(0.0)
        lost_us = [change.time_us for change in changes_of(bench, 1500) if change.mask == ends]
        assert lost_us and lost_us[0] - stopped_us <= 1_000_000


def test_an_led_of_the_hiss_check_is_three_decibels_above_the_background(bench: Bench) -> None:
    begin_hiss(bench, BACKGROUND_CODES)
    for leds in (1, 3, 5, 7):
        bench.probe.ear = louder(3.0 * leds + 1.5)
        bench.probe.run_for(3000)
        assert bench.probe.bar == (1 << leds) - 1


def reached_after_ms(bench: Bench, leds: int) -> float:
    """After which time a sudden hiss brings the bar to so many LEDs, from the left without a gap."""
    start_us = bench.probe.now_us
    bench.probe.ear = louder(3.0 * leds + 1.5)
    reached = [change.time_us for change in changes_of(bench, 1600) if lit_from_left(change.mask) >= leds]
    assert reached
    return (reached[0] - start_us) / 1000


def test_the_fast_response_follows_a_step_in_an_update_and_the_slow_one_in_a_second(bench: Bench) -> None:
    """An update takes 197 ms and may begin just before the step; the slow response is the mean of five.

    An update counts as loud from half of it on, and four loud ones of five bring the bar up to its dot.
    """
    begin_hiss(bench, BACKGROUND_CODES)
    slow_ms = reached_after_ms(bench, 7)
    assert 3.5 * 197 <= slow_ms <= 1200
    bench.probe.ear = louder(0.0)
    bench.probe.run_for(3000)
    assert bench.thumbs.meter_press(STEP, LONG_MS) == ("mark",)
    assert reached_after_ms(bench, 7) <= 400
    bench.probe.ear = louder(0.0)
    bench.probe.run_for(3000)
    assert bench.thumbs.meter_press(STEP, LONG_MS) == ("mark",)
    assert 3.5 * 197 <= reached_after_ms(bench, 7) <= 1200


def test_gusts_that_last_are_told_and_a_single_step_is_not(bench: Bench) -> None:
    gusty = set(bar.probe_patterns()["METER_PATTERNS"]["gusty"])
    begin_hiss(bench, BACKGROUND_CODES)
    bench.probe.ear = louder(22.5)
    assert not gusty & {change.mask for change in changes_of(bench, 3000)}
    bench.probe.ear = Gusty(0.0)
    bench.thumbs.meter_press(READ, LONG_MS, settle_ms=9000)
    bench.probe.run_for(2500)
    assert {change.mask for change in changes_of(bench, 1000)} == gusty


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


@pytest.mark.parametrize(("check", "noise"), [(1, 0.0), (2, BACKGROUND_CODES)], ids=["seal", "hiss"])
def test_a_check_goes_over_a_round_of_vehicles_and_each_begins_anew(
    bench: Bench, check: int, noise: float
) -> None:
    """The heap has no room for a check's buffers twice: a second set of them ended in a restart."""
    for _ in range(check):
        bench.thumbs.meter_press(BOTH, LONG_MS, settle_ms=4500)
    for _ in range(9):
        assert bench.probe.bar == NOT_YET
        bench.probe.ear = Steady(0.0 if noise else 400.0, noise=noise)
        bench.thumbs.meter_press(READ, settle_ms=8000)
        bench.probe.run_for(1000)
        assert bench.probe.bar != NOT_YET
        bench.thumbs.meter_press(BOTH, settle_ms=4500)
    bench.leave_checks(len(CHECKS) - check)
    assert bench.log(records.CRASH) == []
