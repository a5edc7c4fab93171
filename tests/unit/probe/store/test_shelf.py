"""One row of segment files alone: its index, its open files, what it makes of damage."""

from pathlib import Path
from typing import Any

import pytest
from curbtick_probe.store import scan
from curbtick_probe.store import shelf as log_shelf
from curbtick_probe.store.shelf import Shelf, numbers_in
from curbtick_wire import codec

from tests.unit.probe.store.flashdata import FailingFile, reading

SEGMENT_BYTES = 400


def record(seq: int) -> bytes:
    """A reading of that number, 86 bytes."""
    kind, values, tail = reading(seq)
    return codec.encode_record(kind, {"seq": seq, "boot": 1, "ticks_ms": 0}, values, tail)


class Files:
    """Counts what the shelf opens, and allows no two handles on one file."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.opened = 0
        self._handles: list[Any] = []
        for module in (log_shelf, scan):
            monkeypatch.setattr(module, "open", self._open, raising=False)

    def _open(self, path: str, mode: str) -> Any:
        assert Path(path).name not in self.now(), "two handles on one file"
        self.opened += 1
        handle = open(path, mode)  # noqa: SIM115
        self._handles.append(handle)
        return handle

    def now(self) -> list[str]:
        """The names of the files that are open."""
        return sorted(Path(handle.name).name for handle in self._handles if not handle.closed)


@pytest.fixture
def files(monkeypatch: pytest.MonkeyPatch) -> Files:
    return Files(monkeypatch)


@pytest.fixture
def shelf(tmp_path: Path, files: Files) -> Shelf:
    """Three segments: 1 to 3, 4 to 6, and 8 to 9 in one named 7."""
    made = Shelf(str(tmp_path), "r", SEGMENT_BYTES)
    for number, numbers in ((1, (1, 2, 3)), (4, (4, 5, 6)), (7, (8, 9))):
        made.start(number)
        for seq in numbers:
            made.write(seq, record(seq))
        made.flush()
    return made


def recovered(folder: Path) -> tuple[Shelf, list[int]]:
    """A shelf recovered from a folder, and the numbers it visited."""
    made = Shelf(str(folder), "r", SEGMENT_BYTES)
    visited: list[int] = []
    made.recover([path.name for path in folder.iterdir()], lambda reader: visited.append(reader.seq))
    return made, visited


def index(of: Shelf) -> list[tuple[int, ...]]:
    """(number, first, last, bytes, records) of every segment."""
    return list(zip(of.numbers, of.firsts, of.lasts, of.sizes, of.counts, strict=True))


INDEX = [(1, 1, 3, 258, 3), (4, 4, 6, 258, 3), (7, 8, 9, 172, 2)]


def test_the_index_is_the_same_written_and_recovered(tmp_path: Path, shelf: Shelf, files: Files) -> None:
    assert index(shelf) == INDEX
    shelf.close()
    again, visited = recovered(tmp_path)
    assert index(again) == INDEX
    assert visited == [1, 2, 3, 4, 5, 6, 8, 9]
    assert again.damage == []
    assert files.now() == []
    assert again.room() == SEGMENT_BYTES - 172


def test_only_eight_hex_digits_are_a_number() -> None:
    file_names = ["r00000010", "w00000001", "r0000000g", "r1", "r000000020", "r1000000a"]
    assert numbers_in(file_names, "r") == [0x10, 0x1000000A]


def test_room_is_what_the_newest_segment_takes_and_never_below_none(shelf: Shelf) -> None:
    assert shelf.room() == 228
    for seq in (10, 11, 12):
        shelf.write(seq, record(seq))
    assert shelf.sizes[-1] == 430
    assert shelf.room() == 0


def test_one_file_is_open_to_write_and_one_to_read(shelf: Shelf, files: Files) -> None:
    assert files.now() == ["r00000007"]
    assert shelf.seek(2) == 2
    assert files.now() == ["r00000001", "r00000007"]
    shelf.write(10, record(10))
    assert files.now() == ["r00000001", "r00000007"]
    shelf.flush()
    assert shelf.seek(8) == 8
    assert files.now() == ["r00000007"]
    shelf.write(11, record(11))
    assert files.now() == ["r00000007"]
    shelf.start(12)
    assert files.now() == ["r0000000c"]
    assert shelf.seek(1) == 1
    shelf.close()
    assert files.now() == []
    assert shelf.seek(11) == 11
    assert shelf.record() == record(11)


def test_going_on_opens_nothing_again(shelf: Shelf, files: Files) -> None:
    before = files.opened
    assert [shelf.seek(seq) for seq in (1, 2, 3, 3, 4, 5, 6, 7, 8, 9)] == [1, 2, 3, 3, 4, 5, 6, 8, 8, 9]
    assert files.opened == before + 3
    assert shelf.seek(5) == 5
    before = files.opened
    for seq in (10, 11):
        shelf.write(seq, record(seq))
        assert shelf.seek(5) == 5
    assert files.opened == before + 1


def test_seeking_in_any_order(shelf: Shelf) -> None:
    for seq, found in ((9, 9), (1, 1), (7, 8), (3, 3), (2, 2), (10, 0), (0, 1), (6, 6), (4, 4)):
        assert shelf.seek(seq) == found
        if found:
            assert shelf.record() == record(found)


def test_a_freed_segment_leaves_no_file_and_no_handle(tmp_path: Path, shelf: Shelf, files: Files) -> None:
    assert shelf.seek(4) == 4
    shelf.free_oldest()
    assert files.now() == ["r00000004", "r00000007"]
    shelf.free_oldest()
    assert files.now() == ["r00000007"]
    assert index(shelf) == INDEX[2:]
    assert shelf.room() == 228
    shelf.free_oldest()
    assert files.now() == []
    assert index(shelf) == []
    assert shelf.room() == 0
    assert list(tmp_path.iterdir()) == []
    assert (shelf.seek(1), shelf.last(), shelf.holds_up_to(0)) == (0, 0, False)


def test_starting_a_segment_begins_with_an_empty_file(tmp_path: Path, shelf: Shelf) -> None:
    (tmp_path / "r0000000a").write_bytes(b"junk")
    shelf.start(10)
    assert (tmp_path / "r0000000a").read_bytes() == b""
    assert shelf.room() == SEGMENT_BYTES


def test_the_last_number_passes_empty_segments(shelf: Shelf) -> None:
    shelf.start(20)
    assert shelf.last() == 9
    assert not shelf.holds_up_to(9)
    shelf.write(21, record(21))
    assert shelf.last() == 21
    assert shelf.holds_up_to(21)
    assert not shelf.holds_up_to(22)
    for _ in range(4):
        shelf.free_oldest()
    shelf.start(30)
    assert shelf.last() == 0


def test_damage_reaches_to_the_next_segment_or_is_open(tmp_path: Path, shelf: Shelf) -> None:
    shelf.close()
    for name in ("r00000001", "r00000004", "r00000007"):
        with (tmp_path / name).open("ab") as file:
            file.write(b"torn")
    again, _visited = recovered(tmp_path)
    assert again.damage == [(4, 3), (7, 6), (10, 0)]
    assert again.room() == 0


def test_damage_within_a_segment_lies_between_its_neighbours(tmp_path: Path, shelf: Shelf) -> None:
    shelf.close()
    (tmp_path / "r00000004").write_bytes(record(4) + b"torn" + record(6))
    again, visited = recovered(tmp_path)
    assert again.damage == [(5, 5)]
    assert visited == [1, 2, 3, 4, 6, 8, 9]


def test_a_file_that_ends_in_an_error_is_damaged_from_there(
    tmp_path: Path, shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf.close()
    whole = scan.SegmentReader.step

    def step(self: Any) -> bool:
        if self.seq == 5:
            raise OSError(5, "the flash failed")
        return whole(self)

    monkeypatch.setattr(scan.SegmentReader, "step", step)
    again, _visited = recovered(tmp_path)
    assert again.damage == [(6, 6)]
    assert index(again)[1] == (4, 4, 5, 258, 2)


def test_a_segment_cut_behind_its_back_is_passed_over(tmp_path: Path, shelf: Shelf) -> None:
    shelf.close()
    (tmp_path / "r00000004").write_bytes(record(4))
    assert shelf.seek(5) == 8
    shelf.close()
    (tmp_path / "r00000007").write_bytes(record(8))
    assert shelf.seek(9) == 0


class TestMending:
    def test_what_was_not_written_is_forgotten(self, shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
        shelf.close()
        monkeypatch.setattr(log_shelf, "open", lambda path, mode: FailingFile(path, mode, "flush", False))
        shelf.write(10, record(10))
        with pytest.raises(OSError, match="flash"):
            shelf.flush()
        monkeypatch.undo()
        shelf.mend()
        assert index(shelf) == INDEX
        assert shelf.room() == 0
        assert shelf.damage == []
        assert shelf.seek(9) == 9

    def test_a_torn_record_is_left_behind(self, tmp_path: Path, shelf: Shelf) -> None:
        shelf.close()
        with (tmp_path / "r00000007").open("ab") as file:
            file.write(record(10)[:50])
        shelf.mend()
        assert shelf.damage == []
        assert index(shelf) == [*INDEX[:2], (7, 8, 9, 222, 2)]

    def test_a_file_lost_with_all_in_it(self, tmp_path: Path, shelf: Shelf) -> None:
        shelf.close()
        (tmp_path / "r00000007").write_bytes(b"")
        shelf.mend()
        assert index(shelf) == [*INDEX[:2], (7, 7, 6, 0, 0)]

    def test_files_that_do_not_even_close(self, shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
        assert shelf.seek(2) == 2

        def refuse(_self: object) -> None:
            raise OSError(5, "the flash failed")

        monkeypatch.setattr(scan.SegmentReader, "close", refuse)
        with pytest.raises(OSError, match="flash"):
            shelf.close()
        monkeypatch.undo()
        monkeypatch.setattr(Shelf, "close", refuse)
        shelf.mend()
        monkeypatch.undo()
        assert shelf.seek(2) == 2
        assert shelf.seek(9) == 9

    def test_an_empty_shelf(self, tmp_path: Path) -> None:
        empty = Shelf(str(tmp_path), "w", SEGMENT_BYTES)
        empty.mend()
        assert index(empty) == []
