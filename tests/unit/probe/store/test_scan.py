"""Reading a segment record by record: what counts as one, whoever wrote it, and where damage stood."""

import struct
from pathlib import Path

import pytest
from curbtick_probe.store import scan
from curbtick_wire import codec, records

from tests.unit.probe.store.flashdata import EVENT, events, flip, held, reading, segment_files, start
from tests.unit.probe.store.test_recovery import before

__all__ = ["before"]


def _raw(kind: int = 1, layout: int = 1, size: int = 20, seq: int = 5, body: bytes = b"") -> bytes:
    """A record by hand, its CRC right whatever it says of itself."""
    data = struct.pack("<BBHIII", kind, layout, size, seq, 3, 9) + body
    return data + struct.pack("<I", codec.crc32(data))


def _read_all(path: Path, data: bytes) -> tuple[list[int], bool]:
    """(the numbers of the records a reader finds in a file, whether bytes stand after the last)."""
    path.write_bytes(data)
    reader = scan.SegmentReader(str(path), bytearray(records.SNIPPET_MAX))
    assert not reader.damaged
    found = []
    while reader.step():
        found.append(reader.seq)
        assert reader.record() == data[reader.end - reader.size : reader.end]
    reader.close()
    assert reader._file.closed
    return found, reader.damaged


def test_a_record_by_hand_is_read(tmp_path: Path) -> None:
    assert _read_all(tmp_path / "r", _raw()) == ([5], False)
    assert _read_all(tmp_path / "r", _raw(size=800, body=bytes(780))) == ([5], False)
    assert _read_all(tmp_path / "r", b"") == ([], False)


@pytest.mark.parametrize(
    "record",
    [
        _raw(kind=0),
        _raw(layout=0),
        _raw(size=19),
        _raw(size=21),
        _raw(size=801, body=bytes(781)),
        _raw(seq=0),
    ],
)
def test_a_record_that_cannot_be_is_not_read_though_its_crc_is_right(tmp_path: Path, record: bytes) -> None:
    assert _read_all(tmp_path / "r", record) == ([], True)


@pytest.mark.parametrize(
    "later", [{"kind": 10}, {"kind": 255}, {"layout": 2}, {"kind": records.EVENT, "layout": 2}], ids=str
)
def test_records_of_later_firmware_are_kept_and_served(
    tmp_path: Path, before: dict[int, bytes], later: dict[str, int]
) -> None:
    newer = [_raw(seq=seq, size=20 + extra, body=bytes(extra), **later) for seq, extra in ((19, 0), (20, 90))]
    with segment_files(tmp_path, "r")[0].open("ab") as file:
        file.write(b"".join(newer))
    again = start(tmp_path, boot=2)
    assert list(held(again).values()) == [*before.values(), *newer]
    assert events(again, "gap") == []
    assert again.append(*reading()) == 21
    assert again.acknowledge(21, again.digest(1, 21))


def test_an_event_too_short_for_its_fields_is_kept_and_believed_nothing(
    tmp_path: Path, before: dict[int, bytes]
) -> None:
    short = _raw(kind=records.EVENT, seq=19, size=24, body=struct.pack("<BBBB", EVENT["log_full"], 1, 1, 1))
    with segment_files(tmp_path, "r")[0].open("ab") as file:
        file.write(short)
    again = start(tmp_path, boot=2)
    assert again.read(19) == short
    assert again.append(*reading()) == 20
    assert len(segment_files(tmp_path, "r")) == 1


@pytest.mark.parametrize("size", [1, 2, 3, 15, 16, 19, 20, 40])
def test_junk_of_any_length_is_passed_over_and_noticed(tmp_path: Path, size: int) -> None:
    junk = b"\x01" * size
    assert _read_all(tmp_path / "r", junk + _raw() + junk + _raw(seq=6)) == ([5, 6], False)
    assert _read_all(tmp_path / "r", _raw() + junk) == ([5], True)


def test_numbers_must_rise_within_a_segment(tmp_path: Path) -> None:
    assert _read_all(tmp_path / "r", _raw(seq=5) + _raw(seq=5) + _raw(seq=4) + _raw(seq=9)) == ([5, 9], False)


def test_a_reader_says_where_damage_stood(tmp_path: Path, before: dict[int, bytes]) -> None:
    file = segment_files(tmp_path, "r")[0]
    flip(file, len(before[1]) + 20)
    reader = scan.SegmentReader(str(file), bytearray(records.SNIPPET_MAX))
    seen = []
    while reader.step():
        seen.append((reader.seq, reader.before, reader.damaged, reader.kind, reader.boot))
    assert seen[0] == (1, 0, False, records.READING, 1)
    assert seen[1] == (7, 1, True, records.READING, 1)
    assert all(not damaged for _seq, _before, damaged, _kind, _boot in seen[2:])
    assert not reader.damaged
    assert reader.end == file.stat().st_size
    reader.close()
