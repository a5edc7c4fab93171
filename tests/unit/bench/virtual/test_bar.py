"""Reading the bar with the table in hand gives back what the probe says."""

import pytest
from curbtick.virtual.panel import bar
from curbtick.virtual.panel.bar import Shown
from curbtick.virtual.probe.bus import BarChange
from curbtick_probe.panel import patterns

REST = Shown(0x004, 60_000)


def played(*names: str) -> list[Shown]:
    """What a bar shows that plays patterns one after the other and then rests on a position."""
    changes, time_us = [], 0
    for name in names:
        frames, repeats, _ = patterns.pattern(name)
        for mask, duration_ms in frames * repeats:
            changes.append(BarChange(time_us, mask))
            time_us += duration_ms * 1000
    changes.append(BarChange(time_us, REST.mask))
    return bar.shown(changes, time_us + REST.duration_ms * 1000)


def test_every_pattern_has_its_meaning() -> None:
    assert set(bar.MEANINGS) == set(patterns.PATTERNS)


@pytest.mark.parametrize("name", list(patterns.PATTERNS))
def test_every_pattern_is_read_as_itself(name: str) -> None:
    assert bar.read_bar(played(name)) == [name]


def test_patterns_in_a_row_are_read_in_order() -> None:
    assert bar.read_bar(played("weak", "battery_low", "not_transmitting")) == [
        "weak",
        "battery_low",
        "not_transmitting",
    ]


def test_a_resting_bar_says_nothing() -> None:
    assert bar.read_bar([REST]) == []


@pytest.mark.parametrize("bumper", [0, 1])
def test_a_bumper_result_is_read_position_by_position(bumper: int) -> None:
    frames = patterns.result_frames(bumper, (1, 3, 0, 2, 1), (True, True, True, True, False))
    changes, time_us = [], 0
    for mask, duration_ms in frames:
        changes.append(BarChange(time_us, mask))
        time_us += duration_ms * 1000
    seen = [*played("weak")[:-1], *bar.shown(changes, time_us)]
    assert bar.read_result(seen, bumper, 5) == (1, 3, 0, 2, None)


@pytest.mark.parametrize("vehicle", [1, 9, 10, 12, 60, 99])
def test_a_vehicles_number_is_read_off_the_bar(vehicle: int) -> None:
    assert (
        bar.read_vehicle([REST, *(Shown(*frame) for frame in patterns.vehicle_frames(vehicle)), REST])
        == vehicle
    )


def test_no_number_is_read_where_none_was_shown() -> None:
    assert bar.read_vehicle(played("weak")) is None
    assert bar.read_result(played("weak"), 0, 6) is None


def test_the_bar_is_drawn_in_two_halves() -> None:
    assert bar.draw(0b100000_000011) == "●●···· ·····●"


def test_a_strip_shows_the_rhythm() -> None:
    assert bar.strip(patterns.pattern("pass")[0]) == "█" * 16
    assert bar.strip(patterns.pattern("weak")[0]) == "███▌  ███▌"
    assert set(bar.strip(patterns.pattern("retry")[0])) == {"▌"}
