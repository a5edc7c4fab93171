"""The one table of sensor classes: what a probe starts with, and what follows from one more row."""

from typing import Any

import pytest
from curbtick_wire import classes, codec, settings

FIFTH = {"class_khz": 53, "centre_hz": 53_000, "window_hz": 2_000, "dead_cdb": -3_000}


@pytest.fixture
def with_fifth(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of five classes."""
    rows = (*classes.CLASSES, FIFTH)
    monkeypatch.setattr(classes, "CLASSES", rows)
    monkeypatch.setattr(classes, "CLASSES_KHZ", tuple(row["class_khz"] for row in rows))


def of(limits: dict[str, Any], class_khz: int) -> dict[str, int]:
    return next(row for row in limits["classes"] if row["class_khz"] == class_khz)


@pytest.mark.parametrize(
    ("class_khz", "pass_cdb", "neighbour_cdb"),
    [(40, -1700, -3800), (48, -2000, -4100), (58, -2200, -4300), (68, -2500, -4300)],
)
def test_every_factory_class_has_the_limits_that_its_chain_asks_for(
    class_khz: int, pass_cdb: int, neighbour_cdb: int
) -> None:
    assert of(codec.factory_limits(), class_khz) == {
        "class_khz": class_khz,
        "centre_hz": 1000 * class_khz,
        "window_hz": 6500,
        "pass_cdb": pass_cdb,
        "dead_cdb": -3500,
        "neighbour_cdb": neighbour_cdb,
        "interval_min_ms": 30,
        "interval_max_ms": 500,
        "missing_permille": 250,
        "ringdown_min_us": 60,
        "ringdown_max_us": 2500,
        "burst_max_us": 3000,
    }


def test_a_factory_set_can_be_changed_without_changing_the_table() -> None:
    codec.factory_limits()["classes"][0]["pass_cdb"] = 0
    assert codec.factory_limits()["classes"][0]["pass_cdb"] == -1700


@pytest.mark.usefixtures("with_fifth")
def test_a_fifth_class_leaves_room_for_a_custom_one() -> None:
    limits = codec.factory_limits()
    assert of(limits, 53)["dead_cdb"] == -3000
    assert of(limits, 53)["pass_cdb"] == -1700
    limits["classes"].append({**limits["classes"][0], "class_khz": classes.CUSTOM})
    assert len(codec.unpack_limits(codec.pack_limits(limits))["classes"]) == 6 <= settings.CLASSES_MAX
    assert classes.is_class(53)
    assert classes.class_list() == "40, 48, 58, 68, 53"


def test_only_classes_of_the_table_and_the_custom_one_are_classes() -> None:
    assert [khz for khz in range(81) if classes.is_class(khz)] == [0, 40, 48, 58, 68]


@pytest.mark.parametrize(
    ("frequency_hz", "class_khz"),
    [(0, 0), (1, 40), (44_000, 40), (44_001, 48), (53_000, 48), (53_001, 58), (125_000, 68)],
)
def test_the_nearest_class(frequency_hz: int, class_khz: int) -> None:
    assert classes.nearest_class(frequency_hz) == class_khz


def test_what_auto_means_names_every_overlap_of_two_windows() -> None:
    assert classes.shared_windows() == [
        (40, 48, 41_500, 46_500),
        (48, 58, 51_500, 54_500),
        (58, 68, 61_500, 64_500),
    ]
    assert "41.5 to 46.5 kHz (40 and 48)" in classes.auto_meaning()


@pytest.mark.usefixtures("with_fifth")
def test_a_class_between_two_others_shares_its_whole_window() -> None:
    assert (48, 53, 51_000, 54_500) in classes.shared_windows()
    assert (53, 58, 51_500, 55_000) in classes.shared_windows()


def test_without_overlap_auto_is_no_guess(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(classes, "CLASSES", classes.CLASSES[::2])
    assert classes.shared_windows() == []
    assert "guess" not in classes.auto_meaning()


def test_classes_have_names() -> None:
    assert (classes.class_name(48), classes.class_name(classes.CUSTOM)) == ("48 kHz", "custom")
