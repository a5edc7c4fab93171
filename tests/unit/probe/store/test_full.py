"""What the log does when space runs short: who goes first, what is recorded, what never goes."""

from pathlib import Path

import pytest
from curbtick_probe.store import log
from curbtick_probe.store import state as log_state
from curbtick_probe.store.room import RESERVE_BLOCKS
from curbtick_wire import codec, records

from tests.unit.probe.store.flashdata import (
    EVENT,
    SmallDisk,
    events,
    fill,
    held,
    pull,
    reading,
    remove_state,
    segment_files,
    snippet,
    sounds,
    start,
)

BLOCKS = 28


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SmallDisk:
    return SmallDisk(tmp_path, BLOCKS).install(monkeypatch)


def _fill_up(kept: log.Log) -> dict[int, int]:
    """Append readings with waves until LogFull: the kinds of all that was ever stored, by number."""
    stored: dict[int, int] = {}
    try:
        for number in range(10000):
            seq = kept.append(*reading(number))
            numbers = kept.append_all([snippet(seq), sounds(seq)])
            stored |= zip([seq, *numbers], (records.READING, records.SNIPPET, records.SOUNDS), strict=True)
            stored.pop(0, None)
    except log.LogFull:
        return stored
    raise AssertionError("it never filled up")


def _fill_to_the_last_words(kept: log.Log) -> None:
    """Append events until LogFull, so that no room is left but for what only LOG_FULL may take."""
    while kept.event(EVENT["start"]):
        continue


def _of_kind(stored: dict[int, int], *kinds: int) -> set[int]:
    return {seq for seq, kind in stored.items() if kind in kinds}


def _held_kinds(kept: log.Log) -> dict[int, int]:
    return {seq: raw[0] for seq, raw in held(kept).items()}


@pytest.mark.usefixtures("disk")
class TestFillingUp:
    def test_no_reading_is_ever_given_up(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        stored = _fill_up(kept)
        assert len(_of_kind(stored, records.READING)) > 500
        assert _of_kind(_held_kinds(kept), records.READING) == _of_kind(stored, records.READING)

    def test_every_wave_given_up_is_recorded(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        stored = _fill_up(kept)
        waves = records.SNIPPET, records.SOUNDS
        gone = _of_kind(stored, *waves) - _of_kind(_held_kinds(kept), *waves)
        ranges = events(kept, "snippets_dropped")
        assert gone
        assert all(any(first <= seq <= last for first, last in ranges) for seq in gone)
        closed = [pair for pair in ranges if pair[1]]
        assert all(later[0] > earlier[1] for earlier, later in zip(closed, closed[1:], strict=False))
        unstored = kept.dropped - len(gone)
        assert unstored > 0
        assert [last for _first, last in ranges].count(0) == 1

    def test_waves_go_oldest_first(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        numbers = fill(kept, 200)
        left = sorted(_of_kind(_held_kinds(kept), records.SNIPPET))
        assert left[-1] == numbers[-1] + 1
        assert events(kept, "snippets_dropped")[0][0] == 2

    def test_full_is_said_once_and_stays_said(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_to_the_last_words(kept)
        for _ in range(5):
            with pytest.raises(log.LogFull, match="room"):
                kept.append(*reading())
        assert kept.event(EVENT["start"]) == 0
        assert events(kept, "log_full") == [(0, 0)]
        kept.close()
        again = start(tmp_path, boot=2)
        last = again.last_seq
        assert again.append(*snippet(1)) == again.event(EVENT["start"]) == 0
        assert again.last_seq == last
        with pytest.raises(log.LogFull):
            again.append(*reading())
        assert len(events(again, "log_full")) == 1
        assert again.free_bytes() < 200

    def test_full_finds_its_last_words_however_the_segments_fill(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_to_the_last_words(kept)
        assert len(events(kept, "log_full")) == 1

    def test_full_is_over_once_a_reading_stands_behind_it(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_up(kept)
        pull(kept)
        fill(kept, 3)
        kept.close()
        segments = segment_files(tmp_path, "r")
        again = start(tmp_path, boot=2)
        again.append(*reading())
        assert segment_files(tmp_path, "r") == segments

    def test_each_start_says_once_that_waves_find_no_room(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        while 0 not in kept.append_all([reading(), snippet(1)]):
            continue
        kept.close()
        for boot in (2, 3):
            again = start(tmp_path, boot=boot)
            next_seq = again.next_seq
            assert again.append_all([snippet(1), snippet(2)]) == [0, 0]
            assert events(again, "snippets_dropped")[-1] == (next_seq, 0)
            assert again.next_seq == next_seq + 1
            again.close()

    def test_waves_without_room_are_said_again_after_a_pull(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        for _ in range(2):
            while 0 not in kept.append_all([reading(), snippet(1)]):
                continue
            assert events(kept, "snippets_dropped")[-1] == (kept.last_seq, 0)
            pull(kept)

    def test_the_last_words_are_durable(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_up(kept)
        assert segment_files(tmp_path, "r")[-1].stat().st_size == kept._readings.sizes[-1]

    def test_a_drop_waits_for_room_to_be_recorded(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_to_the_last_words(kept)
        before = events(kept, "snippets_dropped")
        kept.close()
        state = log_state.State(str(tmp_path))
        state.widen_drop(2, 3)
        state.save(kept.next_seq)
        again = start(tmp_path, boot=2)
        assert again.drop_pending == (2, 3)
        assert events(again, "snippets_dropped") == before
        pull(again)
        again.append(*reading())
        assert again.drop_pending == (0, 0)
        assert (2, 3) in events(again, "snippets_dropped")

    def test_waves_find_no_room_then(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        _fill_up(kept)
        dropped = kept.dropped
        assert kept.append_all([snippet(1), sounds(1)]) == [0, 0]
        assert kept.dropped == dropped + 2

    def test_a_pull_makes_room_again(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        last = max(_fill_up(kept))
        next_seq = kept.next_seq
        pull(kept)
        assert fill(kept, 3) == [next_seq, next_seq + 3, next_seq + 6]
        assert min(held(kept)) > 1
        assert kept.next_seq > last
        _fill_up(kept)
        assert len(events(kept, "log_full")) == 1

    def test_numbers_go_on_after_everything_was_freed(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        for _ in range(4):
            fill(kept, 150)
            pull(kept)
        kept.close()
        next_seq = kept.next_seq
        remove_state(tmp_path)
        assert start(tmp_path, boot=2).next_seq == next_seq

    def test_it_stays_within_the_device(self, tmp_path: Path, disk: SmallDisk) -> None:
        kept = start(tmp_path)
        _fill_up(kept)
        free = disk.statvfs("")[3]
        assert RESERVE_BLOCKS <= free <= RESERVE_BLOCKS + 1


@pytest.fixture
def larger_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> SmallDisk:
    return SmallDisk(tmp_path, 40).install(monkeypatch)


@pytest.mark.usefixtures("larger_disk")
class TestWhoGoesFirst:
    def test_pulled_waves_before_pulled_readings(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 60)
        readings = _of_kind(_held_kinds(kept), records.READING)
        pull(kept)
        fill(kept, 80)
        after = held(kept)
        assert readings <= set(after)
        assert 2 not in after
        assert events(kept, "snippets_dropped") == []

    def test_pulled_readings_before_waves_nobody_pulled(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 100)
        assert kept.dropped == 0
        pull(kept)
        *pulled_readings, _growing = segment_files(tmp_path, "r")
        assert len(pulled_readings) > 1
        while kept.dropped == 0:
            fill(kept, 1)
        assert not any(file.exists() for file in pulled_readings)

    def test_a_segment_half_pulled_stays(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        numbers = fill(kept, 90)
        half = numbers[45]
        assert kept.acknowledge(half, kept.digest(kept.first_seq, half), first=kept.first_seq)
        fill(kept, 700)
        after = _of_kind(_held_kinds(kept), records.READING)
        assert {seq for seq in numbers if seq > half} <= after


def test_a_bigger_device_has_bigger_segments(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for blocks, segment_blocks in ((24, 1), (64, 2), (96, 3), (352, 4)):
        root = tmp_path / str(blocks)
        root.mkdir()
        SmallDisk(root, blocks).install(monkeypatch)
        kept = start(root)
        fill(kept, 40)
        sizes = [file.stat().st_size for file in segment_files(root, "w")]
        assert segment_blocks * 4092 - records.SNIPPET_MAX < max(sizes) <= segment_blocks * 4092


def test_free_bytes_counts_down(tmp_path: Path, disk: SmallDisk) -> None:
    kept = start(tmp_path)
    empty = kept.free_bytes()
    assert empty == (BLOCKS - RESERVE_BLOCKS - 6) * 4096
    size = len(codec.encode_record(records.READING, {"seq": 1, "boot": 1, "ticks_ms": 0}, *reading()[1:]))
    kept.append(*reading())
    assert kept.free_bytes() == empty - 4096 + 4092 - size
