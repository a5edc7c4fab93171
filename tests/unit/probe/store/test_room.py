"""Who is freed, in which order, and what is durable before that: the log's space alone, its shelves played."""

from pathlib import Path

import pytest
from curbtick_probe.store import room as log_room
from curbtick_probe.store.room import RESERVE_BLOCKS, Room
from curbtick_probe.store.state import State

BLOCK = 4096


class Shelf:
    """A shelf's index. segments: (first, last) of each, oldest first; room_bytes: left in the newest."""

    def __init__(
        self, stage: "Stage", letter: str, segments: list[tuple[int, int]], room_bytes: int = 0
    ) -> None:
        self._stage, self._letter, self._room_bytes = stage, letter, room_bytes
        self.numbers = [first for first, _last in segments]
        self.firsts = [first for first, _last in segments]
        self.lasts = [last for _first, last in segments]
        self.counts = [last - first + 1 for first, last in segments]

    def empty(self, place: int) -> bool:
        """Whether a segment holds no record."""
        return self.lasts[place] < self.firsts[place]

    def room(self) -> int:
        """Bytes left in the newest segment."""
        return self._room_bytes

    def free_oldest(self) -> None:
        """Forget the oldest segment, which gives its block back."""
        stored = State(self._stage.root)
        self._stage.freed.append((self._letter, self.numbers[0], stored.floor, stored.drop_last))
        for column in (self.numbers, self.firsts, self.lasts, self.counts):
            del column[0]
        self._stage.free_blocks += 1


class Stage:
    """A device of 64 blocks, two a segment, and a Room on it.

    freed: (letter, number, the floor and the end of the drop as stored then).
    """

    def __init__(self, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.root = str(root)
        self.free_blocks = RESERVE_BLOCKS
        self.freed: list[tuple[str, int, int, int]] = []
        monkeypatch.setattr(log_room.os, "statvfs", lambda _path: (BLOCK, BLOCK, 64, self.free_blocks))
        self.state = State(self.root)
        self.room = Room(self.root, self.state)

    def share(self, readings: list[tuple[int, int]], waves: list[tuple[int, int]]) -> tuple[Shelf, Shelf]:
        """Set the shelves."""
        self.readings, self.waves = Shelf(self, "r", readings), Shelf(self, "w", waves)
        self.room.share(self.readings, self.waves)
        return self.readings, self.waves

    def order(self) -> list[tuple[str, int]]:
        """What was freed, in order."""
        return [(letter, number) for letter, number, _floor, _drop in self.freed]


@pytest.fixture
def stage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stage:
    return Stage(tmp_path, monkeypatch)


def test_nothing_is_freed_while_there_is_room(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 10)], [(2, 9)])
    stage.free_blocks = RESERVE_BLOCKS + 2
    stage.state.acknowledged = 10
    assert stage.room.make(readings, 11) is True
    assert stage.freed == []


def test_one_block_short_frees_one(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 10)], [(2, 9), (12, 13)])
    stage.free_blocks = RESERVE_BLOCKS + 1
    stage.state.acknowledged = 13
    assert stage.room.make(readings, 14)
    assert stage.order() == [("w", 2)]


@pytest.mark.parametrize(("room_bytes", "more_blocks"), [(0, 0), (1, 1), (BLOCK, 1), (BLOCK + 1, 2)])
def test_the_other_shelfs_open_segment_keeps_its_blocks(
    stage: Stage, room_bytes: int, more_blocks: int
) -> None:
    _readings, waves = stage.share([(1, 1), (4, 10)], [(2, 3), (12, 13), (14, 15), (16, 17)])
    stage.readings._room_bytes = room_bytes
    stage.free_blocks = RESERVE_BLOCKS + 2
    stage.state.acknowledged = 17
    assert stage.room.make(waves, 18)
    assert len(stage.freed) == more_blocks


def test_pulled_waves_go_first_to_the_last_then_pulled_readings_but_the_newest(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4), (7, 9), (12, 14)], [(5, 6)])
    stage.state.acknowledged = 14
    assert stage.room.make(readings, 15) is True
    assert stage.order() == [("w", 5), ("r", 1)]
    stage.free_blocks = RESERVE_BLOCKS
    assert not stage.room.make(readings, 15)
    assert stage.order() == [("w", 5), ("r", 1), ("r", 7)]


def test_a_segment_that_is_not_wholly_pulled_is_not_pulled(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4), (7, 9)], [])
    stage.state.acknowledged = 3
    assert not stage.room.make(readings, 10)
    assert stage.freed == []
    stage.state.acknowledged = 4
    stage.room.make(readings, 10)
    assert stage.order() == [("r", 1)]


def test_an_empty_segment_counts_as_pulled(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4)], [(5, 4), (6, 8)])
    assert stage.room.make(readings, 9)
    assert stage.order() == [("w", 5), ("w", 6)]
    assert stage.room.dropped == 3
    assert (stage.state.drop_first, stage.state.drop_last) == (6, 8)


def test_waves_nobody_pulled_go_last_and_are_noted_before(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4)], [(5, 6), (7, 9), (10, 12)])
    assert stage.room.make(readings, 13)
    assert stage.freed == [("w", 5, 13, 6), ("w", 7, 13, 9)]
    assert stage.room.dropped == 5
    assert (stage.state.drop_first, stage.state.drop_last) == (5, 9)


def test_readings_may_take_the_last_waves_but_waves_may_not(stage: Stage) -> None:
    _readings, waves = stage.share([(1, 4)], [(5, 6), (7, 9)])
    assert not stage.room.make(waves, 10)
    assert stage.order() == [("w", 5)]
    readings, _waves = stage.share([(1, 4)], [(7, 9)])
    stage.free_blocks = RESERVE_BLOCKS + 1
    assert stage.room.make(readings, 10)
    assert stage.order() == [("w", 5), ("w", 7)]


def test_readings_nobody_pulled_never_go(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4), (5, 9)], [])
    assert not stage.room.make(readings, 10)
    assert stage.freed == []


def test_the_floor_is_durable_before_anything_goes(stage: Stage) -> None:
    readings, _waves = stage.share([(1, 4), (5, 9)], [(10, 11)])
    stage.state.acknowledged = 11
    stage.room.make(readings, 12)
    assert [floor for _letter, _number, floor, _drop in stage.freed] == [12, 12]


def test_an_interrupted_drop_is_finished_to_its_end_and_no_further(stage: Stage) -> None:
    stage.share([(1, 4)], [(5, 6), (7, 9), (10, 12)])
    stage.room.finish_drop()
    assert stage.freed == []
    stage.state.widen_drop(5, 7)
    stage.room.finish_drop()
    assert stage.order() == [("w", 5), ("w", 7)]
    stage.state.widen_drop(10, 12)
    stage.room.finish_drop()
    assert stage.waves.numbers == []


def test_free_bytes_leaves_the_reserve_out(stage: Stage) -> None:
    stage.share([(1, 4)], [])
    stage.readings._room_bytes = 100
    stage.free_blocks = RESERVE_BLOCKS - 2
    assert stage.room.free_bytes() == 100
    stage.free_blocks = RESERVE_BLOCKS + 3
    assert stage.room.free_bytes() == 3 * BLOCK + 100
