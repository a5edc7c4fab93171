"""The probe's clock: boots that never come again, ticks that never run back, anchors in the log."""

import struct
from pathlib import Path

import pytest
from curbtick_probe.store.clock import Clock
from curbtick_probe.store.slots import Slots
from curbtick_wire import codec
from curbtick_wire.records import NONE_U32 as TICKS_MAX_MS

from tests.target.board.doubles.fake_board import FakeBoard
from tests.unit.probe.store.flashdata import EVENT, flip, reading, start


def test_each_start_has_the_next_boot(tmp_path: Path) -> None:
    assert [Clock(str(tmp_path), FakeBoard()).boot for _ in range(5)] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("starts", [2, 3])
@pytest.mark.parametrize("slot", ["0", "1"])
def test_a_damaged_slot_cannot_bring_a_boot_back(tmp_path: Path, starts: int, slot: str) -> None:
    given = [Clock(str(tmp_path), FakeBoard()).boot for _ in range(starts)]
    flip(tmp_path / f"boot.{slot}", 9)
    assert Clock(str(tmp_path), FakeBoard()).boot > max(given)


def test_with_both_slots_damaged_the_log_tells(tmp_path: Path) -> None:
    for _ in range(3):
        clock = Clock(str(tmp_path), FakeBoard())
    kept = start(tmp_path, boot=clock.boot)
    kept.append(*reading())
    kept.close()
    for slot in "01":
        flip(tmp_path / f"boot.{slot}", 9)
    assert Clock(str(tmp_path), FakeBoard()).boot == 3 + 1 + 2


def test_with_both_slots_gone_the_log_tells(tmp_path: Path) -> None:
    kept = start(tmp_path, boot=40)
    kept.append(*reading())
    kept.close()
    assert Clock(str(tmp_path), FakeBoard()).boot == 41


def test_boots_go_on_beyond_sixteen_bits(tmp_path: Path) -> None:
    Slots(str(tmp_path), "boot").put(struct.pack("<I", 65534))
    assert [Clock(str(tmp_path), FakeBoard()).boot for _ in range(3)] == [65535, 65536, 65537]


def test_ticks_count_from_the_start(tmp_path: Path) -> None:
    board = FakeBoard(now_ms=5000)
    clock = Clock(str(tmp_path), board)
    assert clock.ticks_ms() == 0
    board.now_ms += 1234
    assert clock.ticks_ms() == 1234
    assert clock.ticks_ms() == 1234


def test_ticks_go_on_where_the_chips_start_over(tmp_path: Path) -> None:
    board = FakeBoard(now_ms=(1 << 30) - 100)
    clock = Clock(str(tmp_path), board)
    for step in range(1, 7):
        board.now_ms += 1 << 29
        assert clock.ticks_ms() == step << 29
    board.now_ms += 1 << 29
    assert clock.ticks_ms() == 7 << 29
    board.now_ms += 1 << 29
    assert clock.ticks_ms() == TICKS_MAX_MS
    board.now_ms += 5
    assert clock.ticks_ms() == TICKS_MAX_MS


def test_an_anchor_is_an_event_with_its_ticks(tmp_path: Path) -> None:
    board = FakeBoard()
    clock = Clock(str(tmp_path), board)
    kept = start(tmp_path, boot=clock.boot)
    kept._ticks_ms = clock.ticks_ms
    clock.attach(kept)
    board.now_ms = 777
    seq = clock.anchor(1795560000, 25)
    record = codec.decode_record(kept.read(seq))
    assert (record["boot"], record["ticks_ms"]) == (1, 777)
    assert record["values"] == {"event": EVENT["anchored"], "value": 1795560000, "extra": 25}
