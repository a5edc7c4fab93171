"""The probe's limit sets: what it takes, what it refuses and names, what survives."""

from pathlib import Path
from typing import Any

import pytest
from curbtick_probe.store.settings.limits import Limits
from curbtick_probe.store.settings.setting import Refused
from curbtick_wire import codec
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.probe.store.flashdata import flip


def a_set(revision: int = 2, **of_class: Any) -> bytes:
    """The factory set under another revision, with fields of its first class changed."""
    limits = codec.factory_limits() | {"revision": revision}
    limits["classes"][0].update(of_class)
    return codec.pack_limits(limits)


@pytest.fixture
def limits(tmp_path: Path) -> Limits:
    return Limits(str(tmp_path))


def test_the_factory_set_is_in_force_at_first(limits: Limits) -> None:
    assert limits.current == codec.factory_limits()
    assert limits.revision == 1
    assert limits.data == codec.pack_limits(codec.factory_limits())


def test_the_factory_set_passes_its_own_check(limits: Limits) -> None:
    limits.put(a_set(2))
    assert limits.refused == 0


def test_a_newer_set_comes_in_force_and_stays(tmp_path: Path, limits: Limits) -> None:
    limits.put(a_set(5, pass_cdb=-1500))
    for one in (limits, Limits(str(tmp_path))):
        assert one.revision == 5
        assert one.for_class(40)["pass_cdb"] == -1500
        assert one.data == a_set(5, pass_cdb=-1500)


def test_the_limits_of_a_class_are_found_by_its_kilohertz(limits: Limits) -> None:
    assert [limits.for_class(khz)["centre_hz"] for khz in (40, 48, 58, 68)] == [40000, 48000, 58000, 68000]
    assert limits.for_class(50) is None


def test_the_same_bytes_again_change_nothing(tmp_path: Path, limits: Limits) -> None:
    limits.put(a_set(2))
    files = {path: path.read_bytes() for path in tmp_path.iterdir()}
    limits.put(a_set(2))
    limits.put(a_set(2))
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == files


@pytest.mark.parametrize(
    ("revision", "fields", "field", "why"),
    [
        (3, {}, "revision", "older than revision 4"),
        (4, {"pass_cdb": -1500}, "revision", "another one already in force"),
        (5, {"dead_cdb": -1700}, "dead_cdb", "not below pass_cdb"),
        (5, {"dead_cdb": -1600}, "dead_cdb", "not below pass_cdb"),
        (5, {"neighbour_cdb": -3500}, "neighbour_cdb", "not below dead_cdb"),
        (5, {"dead_cdb": -3801, "neighbour_cdb": -5000}, "dead_cdb", "neighbour would pass"),
        (5, {"interval_min_ms": 500}, "interval_min_ms", "not below interval_max_ms"),
        (5, {"ringdown_min_us": 2500}, "ringdown_min_us", "not below ringdown_max_us"),
        (5, {"centre_hz": 46501}, "centre_hz", "class_khz 40"),
        (5, {"centre_hz": 33499, "window_hz": 6500}, "centre_hz", "class_khz 40"),
        (5, {"class_khz": 41}, "class_khz", "41 is no class"),
        (5, {"class_khz": 48, "centre_hz": 48000}, "class_khz", "48 stands twice"),
        (5, {"class_khz": 0, "centre_hz": 30000, "window_hz": 10001}, "window_hz", "outside"),
        (5, {"class_khz": 0, "centre_hz": 80000, "window_hz": 10001}, "window_hz", "outside"),
        (5, {"interval_min_ms": 10, "burst_max_us": 10000}, "burst_max_us", "not below interval_min_ms"),
    ],
)
def test_a_set_that_makes_no_sense_is_refused_by_the_field(
    tmp_path: Path, limits: Limits, revision: int, fields: dict[str, int], field: str, why: str
) -> None:
    limits.put(a_set(4))
    with pytest.raises(Refused, match=why) as refusal:
        limits.put(a_set(revision, **fields))
    assert refusal.value.field == field
    assert limits.refused == 1
    assert limits.data == a_set(4)
    assert Limits(str(tmp_path)).data == a_set(4)


@pytest.mark.parametrize(
    "fields",
    [
        {"dead_cdb": -1701},
        {"dead_cdb": -3800, "neighbour_cdb": -3801},
        {"neighbour_cdb": -3501},
        {"centre_hz": 46500},
        {"centre_hz": 33500},
        {"class_khz": 0, "centre_hz": 30000, "window_hz": 10000},
        {"class_khz": 0, "centre_hz": 80000, "window_hz": 10000},
        {"interval_min_ms": 10, "burst_max_us": 9999},
        {"ringdown_min_us": 2499},
        {"interval_min_ms": 499},
    ],
)
def test_a_set_at_the_edge_of_sense_is_taken(limits: Limits, fields: dict[str, int]) -> None:
    limits.put(a_set(2, **fields))
    assert limits.revision == 2


def test_the_floor_window_must_be_one(limits: Limits) -> None:
    wrong = codec.factory_limits() | {"revision": 2, "high_floor_min_cdb": -1000}
    with pytest.raises(Refused, match="high_floor_min_cdb"):
        limits.put(codec.pack_limits(wrong))


def test_a_missing_microphone_never_counts_as_a_live_one(limits: Limits) -> None:
    with pytest.raises(Refused, match="missing microphone"):
        limits.put(codec.pack_limits(codec.factory_limits() | {"revision": 2, "high_floor_min_cdb": -5201}))
    limits.put(codec.pack_limits(codec.factory_limits() | {"revision": 2, "high_floor_min_cdb": -5200}))
    assert limits.revision == 2


@pytest.mark.parametrize("cut", [0, 1, 4, 18, 19, 40, 118])
def test_a_set_cut_short_is_refused(limits: Limits, cut: int) -> None:
    with pytest.raises(Refused):
        limits.put(a_set(2)[:cut])
    with pytest.raises(Refused, match="after the end"):
        limits.put(a_set(2) + b"\0")
    assert limits.refused == 2


@given(place=st.integers(0, 118), bits=st.integers(1, 255))
def test_a_changed_byte_never_gives_a_set_out_of_order(place: int, bits: int, tmp_path_factory: Any) -> None:
    limits = Limits(str(tmp_path_factory.mktemp("limits")))
    data = bytearray(a_set(2))
    data[place] ^= bits
    try:
        limits.put(bytes(data))
    except Refused:
        assert limits.revision == 1
        return
    for one in limits.current["classes"]:
        assert one["neighbour_cdb"] < one["dead_cdb"] < one["pass_cdb"]
        assert one["interval_min_ms"] < one["interval_max_ms"]


def test_the_older_set_stands_behind_a_damaged_newer_one(tmp_path: Path, limits: Limits) -> None:
    limits.put(a_set(2))
    limits.put(a_set(3))
    assert limits.revision == 3
    newest = next(path for path in tmp_path.iterdir() if a_set(3) in path.read_bytes())
    flip(newest, 20)
    again = Limits(str(tmp_path))
    assert again.revision == 2


def test_the_factory_set_stands_behind_two_damaged_ones(tmp_path: Path, limits: Limits) -> None:
    limits.put(a_set(2))
    limits.put(a_set(3))
    for path in tmp_path.iterdir():
        flip(path, 20)
    again = Limits(str(tmp_path))
    assert again.current == codec.factory_limits()
    again.put(a_set(4))
    assert Limits(str(tmp_path)).revision == 4


def test_a_whole_slot_that_contradicts_itself_is_not_in_force(tmp_path: Path, limits: Limits) -> None:
    from curbtick_probe.store.slots import Slots

    limits.put(a_set(2))
    Slots(str(tmp_path), "limits").put(a_set(9, dead_cdb=0))
    assert Limits(str(tmp_path)).revision == 2
