"""The firmware's state machine, run by MicroPython, against the gesture table and what the log must hold."""

from pathlib import Path

import pytest
from curbtick.link.client import connect
from curbtick.link.keyring import Keyring
from curbtick.link.replies import Record
from curbtick.virtual.demo.technician import LONG_MS
from curbtick.virtual.panel import bar
from curbtick.virtual.probe.bus import BOTH, READ, STEP
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick_wire import names, records
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.codec import factory_limits

from tests.pair.app.bench import FRONT, REAR, ROUND, Bench, Stuck, bench, healthy, weak

__all__ = ["bench"]


def places(found: list[Record]) -> list[tuple[int, int, int]]:
    return [(r.values["vehicle"], r.values["bumper"], r.values["position"]) for r in found]


def test_the_bar_tells_which_vehicle_and_position_is_current(bench: Bench) -> None:
    assert bench.at(REAR, 1)
    seen = bench.thumbs.press(BOTH)
    assert bar.read_vehicle(seen.masks) == 12 and bench.at(REAR, 1)
    seen = bench.thumbs.press(BOTH)
    assert bar.read_vehicle(seen.masks) == 40 and bench.at(FRONT, 1)
    seen = bench.thumbs.press(BOTH)
    assert bar.read_vehicle(seen.masks) == 3 and bench.at(REAR, 1)


def test_step_goes_forward_double_goes_back_long_changes_bumper(bench: Bench) -> None:
    bench.thumbs.press(STEP)
    assert bench.at(REAR, 2)
    bench.thumbs.press(STEP, times=2)
    assert bench.at(REAR, 1)
    bench.thumbs.press(STEP, LONG_MS)
    assert bench.at(FRONT, 1)
    bench.thumbs.press(STEP, LONG_MS)
    assert bench.at(REAR, 1)


def test_a_reading_is_logged_shown_and_followed_by_the_next_position(bench: Bench) -> None:
    seen = bench.read(healthy())
    assert seen.words == ("pass",) and bench.at(REAR, 2)
    assert bar.read_vehicle(seen.masks) == 3
    (reading,) = bench.log()
    values = reading.values
    assert places([reading]) == [(3, REAR, 1)]
    assert (values["round_id"], values["positions"], values["class_khz"]) == (7, 4, 48)
    assert (values["supersedes_seq"], values["limits_revision"]) == (0, factory_limits()["revision"])
    assert values["battery_mv"] == 3 * 1250 and values["temperature_ddeg"] == 150
    verdict = next(change for change in bench.probe.panel.bars if change.mask == 0xFFF)
    pressed_us = bench.pressed_us
    assert values["time_to_verdict_ms"] == pytest.approx((verdict.time_us - pressed_us) / 1000, abs=100)
    assert (verdict.time_us - pressed_us) / 1000 <= 800, "a clear pass at 200 ms stops early"


def test_while_listening_the_bar_shows_the_position_alone(bench: Bench) -> None:
    bench.thumbs.press(STEP)
    assert bench.at(REAR, 2)
    shown, pressed_us = len(bench.probe.panel.bars), bench.probe.now_us
    bench.read(healthy())
    first = bench.probe.panel.bars[shown]
    assert first.mask == 0xFFF
    assert first.time_us - pressed_us >= bench.log()[0].values["listened_ms"] * 1000


def test_the_verdict_is_shown_only_after_the_record_is_in_flash(bench: Bench) -> None:
    """Cut the power the moment the verdict appears: the reading is there at the next start."""
    bench.probe.ear = healthy()
    bench.cut_power_when_lit(0xFFF)
    assert places(bench.log()) == [(3, REAR, 1)]


def test_read_held_reads_the_last_position_again_and_supersedes(bench: Bench) -> None:
    bench.read(weak())
    bench.probe.ear = healthy()
    assert bench.thumbs.press(READ, LONG_MS).words == ("pass",)
    first, again = bench.log()
    assert places([first, again]) == [(3, REAR, 1)] * 2
    assert again.values["supersedes_seq"] == first.seq
    assert bench.at(REAR, 2)


def test_read_held_before_any_reading_is_refused(bench: Bench) -> None:
    assert bench.thumbs.press(READ, LONG_MS).words == ("refused",)
    assert bench.log() == []


def test_after_the_last_position_comes_the_bumper_result(bench: Bench) -> None:
    outcomes = [bench.read(ear) for ear in (healthy(), weak(), healthy(seed=3), healthy(seed=4))]
    assert [seen.verdict for seen in outcomes] == ["pass", "weak", "pass", "pass"]
    (result,) = bench.log(records.BUMPER)
    assert result.values["verdicts"][:4] == (names.PASS, names.WEAK, names.PASS, names.PASS)
    assert result.values["reading_seqs"][:4] == tuple(reading.seq for reading in bench.log())
    assert result.values["result"] == names.BUMPER_REPAIR
    assert bar.read_result(outcomes[-1].masks, REAR, 4) == (names.PASS, names.WEAK, names.PASS, names.PASS)
    assert bench.at(FRONT, 1)


def test_a_repaired_position_makes_a_new_bumper_result_at_once(bench: Bench) -> None:
    for ear in (healthy(), weak(), healthy(seed=3), healthy(seed=4)):
        bench.read(ear)
    bench.thumbs.press(STEP, LONG_MS)
    bench.thumbs.press(STEP)
    bench.read(healthy(seed=5))
    old, new = bench.log(records.BUMPER)
    assert new.values["result"] == names.BUMPER_ALL_PASS
    assert new.values["reading_seqs"][1] == bench.log()[-1].seq != old.values["reading_seqs"][1]


def test_leaving_a_bumper_early_makes_an_incomplete_result(bench: Bench) -> None:
    bench.read(healthy())
    bench.thumbs.press(BOTH)
    (result,) = bench.log(records.BUMPER)
    assert result.values["result"] == names.BUMPER_INCOMPLETE
    assert result.values["reading_seqs"][:4] == (bench.log()[0].seq, 0, 0, 0)


def test_silence_is_not_called_dead_for_what_was_heard_on_an_earlier_visit(bench: Bench) -> None:
    for seed in range(1, 5):
        bench.read(healthy(seed=seed))
    for _ in range(3):
        bench.thumbs.press(BOTH)
    assert bench.at(REAR, 1)
    assert bench.read(Ear(seed=1)).words == ("retry",)
    result = bench.log(records.BUMPER)[-1]
    assert result.values["result"] != names.BUMPER_REPAIR
    assert names.DEAD not in result.values["verdicts"]


def test_silence_among_sensors_that_transmit_is_dead(bench: Bench) -> None:
    for seed in (1, 2):
        bench.read(healthy(seed=seed))
    assert bench.read(Ear(seed=3)).words == ("dead",)
    assert names.words_of(names.REASONS, bench.log()[-1].values["reasons"]) == ["nothing_heard"]


def test_a_silent_first_position_is_dead_once_the_others_were_heard(bench: Bench) -> None:
    ears = (Ear(seed=9), healthy(), healthy(seed=2), healthy(seed=3))
    outcomes = [bench.read_and_step(ear) for ear in ears]
    assert [seen.verdict for seen in outcomes] == ["retry", "pass", "pass", "pass"]
    (result,) = bench.log(records.BUMPER)
    assert result.values["verdicts"][:4] == (names.DEAD, names.PASS, names.PASS, names.PASS)
    assert bar.read_result(outcomes[-1].masks, REAR, 4) == (names.DEAD, names.PASS, names.PASS, names.PASS)


def test_after_a_silent_retry_the_next_press_reads_the_same_position_again(bench: Bench) -> None:
    assert bench.read(Ear(seed=9)).words == ("retry",) and bench.at(REAR, 1)
    assert bench.read(healthy()).words == ("pass",) and bench.at(REAR, 2)
    silent, heard = bench.log()
    assert [one.values["position"] for one in (silent, heard)] == [1, 1]
    assert heard.values["supersedes_seq"] == silent.seq


def test_a_probe_switched_off_after_a_retry_stays_at_its_position(bench: Bench) -> None:
    bench.read(Ear(seed=9))
    bench.probe.power_on()
    bench.probe.run_until_idle()
    assert bench.at(REAR, 1)


def test_a_silent_vehicle_is_not_transmitting(bench: Bench) -> None:
    outcomes = [bench.read_and_step(Ear(seed=seed)) for seed in range(3)]
    outcomes.append(bench.read(Ear(seed=3)))
    assert [seen.words for seen in outcomes] == [("retry",)] * 4
    assert bench.thumbs.next_position().words == ("not_transmitting",)
    (result,) = bench.log(records.BUMPER)
    assert result.values["result"] == names.BUMPER_NOT_TRANSMITTING


def test_a_low_battery_is_retry_without_listening(bench: Bench) -> None:
    bench.probe.bus.battery_mv = factory_limits()["battery_min_mv"] - 1
    heard = bench.probe.bus.samples_read
    seen = bench.read(healthy())
    assert seen.words == ("retry", "battery_low") and bench.at(REAR, 1)
    assert bench.probe.bus.samples_read == heard
    assert names.words_of(names.REASONS, bench.log()[0].values["reasons"]) == ["battery_low"]


def test_a_probe_that_fails_its_self_test_refuses_verdicts_and_says_why(bench: Bench) -> None:
    bench.probe.ear = Stuck()
    assert "self_test_failed" in bench.thumbs.press(BOTH, times=2).words
    assert bench.read(healthy()).words == ("retry", "self_test_failed")
    assert names.words_of(names.REASONS, bench.log()[0].values["reasons"]) == ["microphone_fault"]
    bench.probe.ear = Ear(seed=1)
    assert "self_test_passed" in bench.thumbs.press(BOTH, times=2).words
    assert bench.read(healthy()).words == ("pass",)


def test_a_full_log_is_said_with_retry_and_nothing_shown_is_missing(tmp_path: Path) -> None:
    made = Bench(tmp_path, options={"blocks": "20"})
    shown = 0
    for _ in range(200):
        seen = made.read(healthy())
        if seen.words[0] == "log_full":
            break
        shown += 1
    assert seen.words == ("log_full", "retry") and shown > 20
    place = made.probe.bar
    assert made.read(healthy()).words == ("log_full", "retry") and made.probe.bar == place
    assert len(made.log()) == shown
    made.probe.close()


def test_a_probe_switched_off_goes_on_where_it_was(bench: Bench) -> None:
    bench.read(healthy())
    bench.read(healthy(seed=2))
    bench.probe.power_on()
    bench.probe.run_until_idle()
    assert bench.at(REAR, 3)
    for seed in (3, 4):
        bench.read(healthy(seed=seed))
    (result,) = bench.log(records.BUMPER)
    assert result.values["result"] == names.BUMPER_ALL_PASS


def test_a_bumper_result_cut_off_by_the_power_is_made_at_the_next_start(bench: Bench) -> None:
    for seed in range(1, 5):
        bench.probe.ear = healthy(seed=seed)
        if seed < 4:
            bench.thumbs.press(READ)
    bench.cut_power_when_lit(0xFFF)
    (result,) = bench.log(records.BUMPER)
    assert result.values["result"] == names.BUMPER_ALL_PASS
    assert bench.at(FRONT, 1)


def test_a_new_round_begins_at_its_first_position(bench: Bench) -> None:
    bench.read(healthy())
    with bench.client() as client:
        client.send_round({**ROUND, "round_id": 8})
    bench.probe.run_until_idle()
    assert bench.at(REAR, 1)
    bench.read(healthy())
    assert bench.log()[-1].values["supersedes_seq"] == 0


def test_the_self_test_gesture_logs_a_test(bench: Bench) -> None:
    before = len(bench.log(records.SELF_TEST))
    assert bench.thumbs.press(BOTH, times=2).words == ("self_test", "self_test_passed")
    assert len(bench.log(records.SELF_TEST)) == before + 1


def test_without_a_round_positions_count_up_and_any_class_will_do(tmp_path: Path) -> None:
    made = Bench(tmp_path, round_=None)
    for class_khz in CLASSES_KHZ:
        assert made.read(healthy(class_khz)).words == ("pass",)
    assert places(made.log()) == [(0, REAR, position) for position in range(1, 5)]
    assert [reading.values["class_khz"] for reading in made.log()] == list(CLASSES_KHZ)
    made.probe.close()


def test_both_buttons_at_power_up_leave_for_the_prompt(tmp_path: Path) -> None:
    with VirtualProbe(flash_path=tmp_path / "flash", held=BOTH) as probe:
        assert probe.wait_exit() == 0
        assert probe.panel.bars == []


def test_pairing_needs_step_at_power_up(tmp_path: Path) -> None:
    with VirtualProbe(Ear(seed=1), tmp_path / "flash") as probe:
        probe.run_until_idle()
        with connect(probe.pty_path, Keyring(tmp_path / "keys.json")) as client:
            assert not client.greeting.pairing
    with VirtualProbe(Ear(seed=1), tmp_path / "flash", held=STEP) as probe:
        probe.run_until_idle()
        with connect(probe.pty_path, Keyring(tmp_path / "keys.json")) as client:
            assert client.greeting.pairing
