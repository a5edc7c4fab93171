"""The probe's round: what it takes, what it refuses and names, what survives."""

import re
from pathlib import Path

import pytest
from curbtick_probe.store.settings.rounds import Rounds
from curbtick_probe.store.settings.setting import Refused
from curbtick_wire import codec

from tests.unit.probe.store.flashdata import flip


def vehicle(
    number: int, rear: int = 4, rear_khz: int = 48, front: int = 0, front_khz: int = 0
) -> dict[str, int]:
    """A vehicle of a round."""
    return {
        "vehicle": number,
        "rear_positions": rear,
        "rear_class_khz": rear_khz,
        "front_positions": front,
        "front_class_khz": front_khz,
    }


def a_round(*vehicles: dict[str, int], round_id: int = 7) -> bytes:
    """A round as bytes."""
    return codec.pack_round({"round_id": round_id, "vehicles": list(vehicles)})


@pytest.fixture
def rounds(tmp_path: Path) -> Rounds:
    return Rounds(str(tmp_path))


def test_there_is_none_at_first(rounds: Rounds) -> None:
    assert rounds.current == {}
    assert rounds.data == b""


def test_a_round_stays(tmp_path: Path, rounds: Rounds) -> None:
    data = a_round(vehicle(1), vehicle(2, 6, 58, 6, 0), vehicle(99, 0, 0, 4, 68))
    rounds.put(data)
    for one in (rounds, Rounds(str(tmp_path))):
        assert one.data == data
        assert one.current == codec.unpack_round(data)


def test_the_largest_round_fits(tmp_path: Path, rounds: Rounds) -> None:
    data = a_round(*[vehicle(number + 1) for number in range(60)])
    rounds.put(data)
    assert len(Rounds(str(tmp_path)).current["vehicles"]) == 60


def test_another_round_replaces_it_and_the_same_changes_nothing(tmp_path: Path, rounds: Rounds) -> None:
    rounds.put(a_round(vehicle(1)))
    rounds.put(a_round(vehicle(2), round_id=6))
    files = {path: path.read_bytes() for path in tmp_path.iterdir()}
    rounds.put(a_round(vehicle(2), round_id=6))
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == files
    assert Rounds(str(tmp_path)).current["round_id"] == 6


@pytest.mark.parametrize(
    ("data", "field", "why"),
    [
        (a_round(vehicle(1), vehicle(2), vehicle(1)), "vehicle", "1 stands twice"),
        (a_round(vehicle(3, 4, 47)), "rear_class_khz", "47 is no class.*vehicle 3"),
        (a_round(vehicle(3, 4, 48, 4, 80)), "front_class_khz", "80 is no class.*vehicle 3"),
        (a_round(vehicle(3, 4, 48, 0, 48)), "front_class_khz", "without positions.*vehicle 3"),
        (a_round(vehicle(3, 0, 0, 0, 0)), "rear_positions", "vehicle 3 has no position"),
        (a_round(vehicle(1))[:-1], "front_class_khz", "end before"),
        (a_round(vehicle(1)) + b"\0", "size", "after the end"),
        (a_round(vehicle(1)).replace(b"\x04", b"\x07"), "rear_positions", "7 is outside 0..6"),
        (b"", "round_id", "end before"),
    ],
)
def test_a_round_that_makes_no_sense_is_refused_by_the_field(
    tmp_path: Path, rounds: Rounds, data: bytes, field: str, why: str
) -> None:
    rounds.put(a_round(vehicle(5)))
    with pytest.raises(Refused) as refusal:
        rounds.put(data)
    assert refusal.value.field == field
    assert re.search(why, refusal.value.why)
    assert rounds.refused == 1
    assert rounds.data == Rounds(str(tmp_path)).data == a_round(vehicle(5))


def test_an_earlier_round_stands_behind_a_damaged_one(tmp_path: Path, rounds: Rounds) -> None:
    rounds.put(a_round(vehicle(1)))
    rounds.put(a_round(vehicle(2)))
    newest = next(path for path in tmp_path.iterdir() if a_round(vehicle(2)) in path.read_bytes())
    flip(newest, 12)
    assert Rounds(str(tmp_path)).data == a_round(vehicle(1))
