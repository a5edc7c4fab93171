"""The gesture table, and how presses of two buttons become gestures."""

import itertools

import pytest
from curbtick_probe.panel.gestures import (
    BOTH,
    DOUBLE_MS,
    GESTURE_TABLE,
    LONG_MS,
    POWER_UP_TABLE,
    READ,
    STEP,
    Gestures,
    action,
    has_double,
)
from curbtick_wire.names import CHECKS
from hypothesis import given
from hypothesis import strategies as st

# What the whole job needs, from the technician's side.
JOB = {
    "read",
    "read_again",
    "next_position",
    "previous_position",
    "next_bumper",
    "next_vehicle",
    "next_check",
    "self_test",
    "mark",
    "reference",
    "response",
    "show_current",
}


def play(
    changes: list[tuple[int, int]], check: str = "bumper", until_ms: int = 5000
) -> list[tuple[int, str]]:
    """Run (time_ms, mask) changes through the recogniser, called at changes and deadlines only."""
    recogniser = Gestures()
    recogniser.check = check
    queue, mask, now, said = list(changes), 0, 0, []
    while now < until_ms:
        while queue and queue[0][0] <= now:
            mask = queue.pop(0)[1]
        gesture = recogniser.update(mask, now)
        if gesture:
            said.append((now, gesture))
            continue
        wait = recogniser.deadline_ms(now)
        ahead = [queue[0][0]] if queue else []
        ahead += [] if wait is None else [now + wait]
        if not ahead:
            break
        now = min(ahead)
    return said


def press(start: int, mask: int, hold: int) -> list[tuple[int, int]]:
    return [(start, mask), (start + hold, 0)]


def test_every_action_of_the_job_has_a_gesture() -> None:
    assert set(GESTURE_TABLE.values()) == JOB


def test_the_table_speaks_of_the_checks_there_are() -> None:
    assert {check for check, _ in GESTURE_TABLE} == set(CHECKS)


def test_a_reading_never_waits_for_a_second_press() -> None:
    assert not any(has_double(check, READ) for check in CHECKS)


def test_changing_check_and_vehicle_is_the_same_gesture_everywhere() -> None:
    assert {action(check, "both_long") for check in CHECKS} == {"next_check"}
    assert {action(check, "both") for check in CHECKS} == {"next_vehicle"}


def test_power_up() -> None:
    assert POWER_UP_TABLE == {0: "start", READ: "start", STEP: "pairing", BOTH: "repl"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (press(100, READ, 80), [(180, "read")]),
        (press(100, READ, LONG_MS + 300), [(100 + LONG_MS, "read_long")]),
        (press(100, STEP, 80), [(180 + DOUBLE_MS, "step")]),
        (press(100, STEP, 80) + press(300, STEP, 80), [(380, "step_double")]),
        (press(100, STEP, 80) + press(600, STEP, 80), [(180 + DOUBLE_MS, "step"), (680 + DOUBLE_MS, "step")]),
        (press(100, STEP, LONG_MS + 1), [(100 + LONG_MS, "step_long")]),
        (press(100, BOTH, 80), [(180 + DOUBLE_MS, "both")]),
        (press(100, BOTH, 80) + press(300, BOTH, 80), [(380, "both_double")]),
        (press(100, BOTH, LONG_MS + 1), [(100 + LONG_MS, "both_long")]),
        ([(100, READ), (130, BOTH), (200, STEP), (220, 0)], [(220 + DOUBLE_MS, "both")]),
        (press(100, STEP, 80) + press(250, READ, 80), [(330, "step"), (330, "read")]),
        (press(100, READ, 80) + press(250, READ, 80), [(180, "read"), (330, "read")]),
        (press(100, STEP, 80) + press(300, STEP, LONG_MS + 1), [(300 + LONG_MS, "step_long")]),
    ],
)
def test_presses_become_gestures(changes: list[tuple[int, int]], said: list[tuple[int, str]]) -> None:
    assert play(changes) == said


def test_step_does_not_wait_where_a_double_press_means_nothing() -> None:
    assert play(press(100, BOTH, 80), check="seal") == [(180, "both")]


def test_the_press_time_is_when_the_button_went_down() -> None:
    recogniser = Gestures()
    recogniser.update(READ, 1000)
    assert recogniser.update(0, 1090) == "read"
    assert recogniser.pressed_ms == 1000


@given(st.lists(st.tuples(st.integers(1, 900), st.integers(0, 3)), max_size=30), st.sampled_from(CHECKS))
def test_any_pressing_gives_known_gestures_and_then_peace(steps: list[tuple[int, int]], check: str) -> None:
    times = list(itertools.accumulate(wait for wait, _ in steps))
    changes = [(time, mask) for time, (_, mask) in zip(times, steps, strict=True)]
    end = times[-1] if times else 0
    said = play([*changes, (end + 1, 0)], check, until_ms=end + 3000)
    names = {f"{button}{kind}" for button in ("read", "step", "both") for kind in ("", "_long", "_double")}
    assert all(gesture in names for _, gesture in said)
    assert all(time <= end + LONG_MS + DOUBLE_MS + 1 for time, _ in said)
    assert len(said) <= sum(mask != 0 for _, mask in steps)
