"""What was heard of one vehicle, round, visit or check proves nothing of the next: the running app on MicroPython."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from curbtick.link.client import Client
from curbtick.virtual.demo.technician import LONG_MS
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, READ, STEP
from curbtick.yard.ear.ear import Ear
from curbtick_wire import names, records

from tests.pair.app.bench import REAR, ROUND, Bench, Steady, bench, healthy

__all__ = ["bench"]

MINUTES_6_MS = 360_000
WAIT_MS = 9000


def send(bench: Bench, round_: dict[str, Any]) -> None:
    with bench.client() as client:
        client.send_round(round_)
    bench.probe.run_until_idle()


def ask_meanwhile(bench: Bench, deed: Callable[[Client], object]) -> None:
    """Let a bench do something while a meter runs, which never idles."""
    done: list[object] = []

    def work() -> None:
        with bench.client() as client:
            done.append(deed(client))

    thread = threading.Thread(target=work)
    thread.start()
    for _ in range(100):
        if done:
            break
        bench.probe.run_for(400)
    thread.join(20)
    assert done


def results(bench: Bench) -> list[tuple[str, tuple[int, ...]]]:
    """(result, verdicts) of every bumper result."""
    return [
        (names.BUMPER_RESULTS[one.values["result"]], one.values["verdicts"][: one.values["positions"]])
        for one in bench.log(records.BUMPER)
    ]


def test_without_a_round_the_next_vehicle_s_bumper_begins_anew(tmp_path: Path) -> None:
    bench = Bench(tmp_path, round_=None)
    for seed in range(1, 5):
        bench.read(healthy(seed=seed))
    bench.thumbs.press(BOTH)
    seen = bench.read(healthy(seed=5))
    assert seen.words == ("pass",) and bar.read_result(seen.masks, REAR, 4) is None
    assert bench.log()[-1].values["supersedes_seq"] == 0
    bench.probe.power_on()
    bench.probe.run_until_idle()
    bench.read(healthy(seed=6))
    assert [result for result, _ in results(bench)] == ["all_pass"]
    bench.probe.close()


def test_another_round_of_the_same_number_begins_anew(bench: Bench) -> None:
    for seed in range(1, 5):
        bench.read(healthy(seed=seed))
    send(bench, {**ROUND, "vehicles": ROUND["vehicles"][:1]})
    assert bench.at(REAR, 1)
    seen = bench.read(healthy(seed=5))
    assert seen.words == ("pass",) and bar.read_result(seen.masks, REAR, 4) is None
    assert bench.log()[-1].values["supersedes_seq"] == 0


def test_silence_in_a_new_round_is_not_proved_by_the_one_before(bench: Bench) -> None:
    assert bench.read(healthy()).words == ("pass",)
    send(bench, {**ROUND, "round_id": 8})
    assert bench.at(REAR, 1) and bench.read(Ear(seed=3)).words == ("retry",)


def test_a_round_that_comes_makes_the_result_that_is_due_in_the_one_before(bench: Bench) -> None:
    for seed in range(3):
        bench.read_and_step(Ear(seed=seed))
    bench.read(Ear(seed=3))
    send(bench, {**ROUND, "round_id": 8})
    (result,) = bench.log(records.BUMPER)
    assert result.values["result"] == names.BUMPER_NOT_TRANSMITTING and result.values["round_id"] == 7


def test_a_second_visit_in_silence_stays_undecided_over_a_power_cut(bench: Bench) -> None:
    for seed in range(1, 5):
        bench.read(healthy(seed=seed))
    bench.thumbs.go_to(3, REAR, 1)
    assert bench.read(Ear(seed=9)).words == ("retry",)
    bench.probe.power_on()
    bench.probe.run_until_idle()
    bench.thumbs.press(BOTH)
    assert [names.DEAD in verdicts for _, verdicts in results(bench)] == [False, False]


def test_what_was_heard_minutes_ago_proves_nothing(bench: Bench) -> None:
    assert bench.read(healthy()).words == ("pass",)
    for _ in range(MINUTES_6_MS // WAIT_MS):
        bench.probe.press(STEP, after_ms=WAIT_MS)
        bench.probe.run_until_idle()
        bench.thumbs.press(STEP, times=2)
    assert bench.at(REAR, 2) and bench.read(Ear(seed=3)).words == ("retry",)


def test_what_was_heard_before_a_seal_check_proves_nothing(bench: Bench) -> None:
    assert bench.read(healthy()).words == ("pass",)
    bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.leave_checks(2)
    assert bench.at(REAR, 2) and bench.read(Ear(seed=3)).words == ("retry",)


def test_a_round_that_comes_in_a_seal_check_takes_no_section_along(bench: Bench) -> None:
    bench.probe.ear = Steady(400.0)
    bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ)
    bench.probe.ear = Steady(80.0)
    bench.thumbs.meter_press(READ)
    bench.thumbs.meter_press(READ)
    ask_meanwhile(bench, lambda client: client.send_round({**ROUND, "round_id": 8}) or True)
    bench.probe.ear = Steady(400.0)
    bench.probe.run_for(1000)
    bench.thumbs.meter_press(READ, LONG_MS, settle_ms=8000)
    bench.leave_checks(2)
    assert [mark.values["round_id"] for mark in bench.log(records.SEAL)] == [7]


def test_a_self_test_that_a_bench_asks_for_runs_in_a_check_too(bench: Bench) -> None:
    before = len(bench.log(records.SELF_TEST))
    bench.probe.ear = Steady(400.0)
    bench.thumbs.meter_press(BOTH, LONG_MS)
    ask_meanwhile(bench, lambda client: client.self_test() or True)
    bench.probe.run_for(5000)
    bench.leave_checks(2)
    assert len(bench.log(records.SELF_TEST)) == before + 1


# Rms of a live high-gain input's own floor, -43 dBFS; a fainter one is a dead microphone: no background is taken then.
LIVE_CODES = 10.0


def hiss_of_a_quiet_place(bench: Bench) -> tuple[str, ...]:
    """Learn the background and mark a section of the same."""
    bench.probe.ear = Steady(0.0, noise=LIVE_CODES)
    for _ in range(2):
        bench.thumbs.meter_press(BOTH, LONG_MS)
    bench.thumbs.meter_press(READ, settle_ms=9000)
    bench.probe.run_for(3000)
    words = bench.thumbs.meter_press(READ, settle_ms=9000)
    bench.leave_checks(1)
    return words


def test_a_probe_that_failed_its_self_test_judges_no_section(bench: Bench) -> None:
    bench.probe.ear = Steady(0.0, noise=1.0)
    bench.thumbs.press(BOTH, times=2)
    assert hiss_of_a_quiet_place(bench) == ("retry", "self_test_failed")
    (mark,) = bench.log(records.HISS)
    assert names.words_of(names.REASONS, mark.values["reasons"]) == ["microphone_fault"]


def test_a_low_battery_judges_no_section(bench: Bench) -> None:
    # Low, and enough to write by: below 3.0 V nothing is stored.
    bench.probe.bus.battery_mv = 3100
    assert hiss_of_a_quiet_place(bench) == ("retry", "battery_low")
    (mark,) = bench.log(records.HISS)
    assert names.words_of(names.REASONS, mark.values["reasons"]) == ["battery_low"]


def test_a_probe_switched_on_with_a_low_battery_says_so(bench: Bench) -> None:
    bench.probe.bus.battery_mv = 3200
    bench.probe.power_on(held=0)
    bench.probe.run_until_idle()
    assert bench.read(healthy()).words == ("retry", "battery_low", "self_test_failed")


def test_a_mad_temperature_stops_nothing(bench: Bench) -> None:
    bench.probe.bus.temperature_ddeg = 4370
    bench.probe.power_on()
    bench.probe.run_until_idle()
    assert bench.log(records.SELF_TEST)[-1].values["failed"] & 1 << names.SELF_TESTS.index("temperature")
    assert bench.thumbs.press(STEP).words == ()
