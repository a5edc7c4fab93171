"""What the tests of the probe's storage share: records to keep, a disk that fills up, files that fail."""

import hashlib
import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from curbtick_probe.store import log, room
from curbtick_wire import codec, names, records

BLOCK = 4096
EVENT = {word: number for number, word in enumerate(names.EVENTS)}


def values_of(kind: int, **given: Any) -> dict[str, Any]:
    """Values of a record kind: the lowest that is not a "not measured" marker, or as given."""
    values: dict[str, Any] = {}
    entry = codec.kind_entry(kind)
    assert entry is not None
    for name, form, low, _high in entry[2]:
        values[name] = max(low, 0) if len(form) == 1 else (max(low, 0),) * int(form[:-1])
    return values | given


def reading(number: int = 0) -> tuple[int, dict[str, Any], bytes]:
    """A reading to append, told apart by its number."""
    return records.READING, values_of(records.READING, listened_ms=number, vehicle=number % 100), b""


def snippet(reading_seq: int, size: int = 600) -> tuple[int, dict[str, Any], bytes]:
    """A snippet to append, its samples telling it apart."""
    samples = bytes((reading_seq * 5 + place) & 0xFF for place in range(size))
    return records.SNIPPET, values_of(records.SNIPPET, reading_seq=reading_seq), samples


def sounds(reading_seq: int, count: int = 5) -> tuple[int, dict[str, Any], bytes]:
    """Sounds to append."""
    values = values_of(records.SOUNDS, reading_seq=reading_seq, count=count)
    return records.SOUNDS, values, bytes(codec.size_of(records.SOUND) * count)


def start(root: Path, boot: int = 1) -> log.Log:
    """The log as a start of the probe finds it."""
    return log.Log(str(root), boot, lambda: 1000 + boot)


def fill(to: log.Log, readings: int) -> list[int]:
    """Append readings, each with snippet and sounds: the readings' numbers."""
    numbers = []
    for number in range(readings):
        seq = to.append(*reading(number))
        to.append_all([snippet(seq), sounds(seq)])
        numbers.append(seq)
    return numbers


def held(of: log.Log) -> dict[int, bytes]:
    """Every raw record by its number, having checked that numbers rise."""
    found: dict[int, bytes] = {}
    for raw in of.iter_from(1):
        seq = codec.check_record(raw)["seq"]
        assert seq > max(found, default=0)
        found[seq] = raw
    return found


def events(of: log.Log, word: str) -> list[tuple[int, int]]:
    """(value, extra) of every event of a kind that is held."""
    decoded = [codec.decode_record(raw) for raw in of.iter_from(1)]
    chosen = [
        record["values"]
        for record in decoded
        if record["kind"] == records.EVENT and record["values"].get("event") == EVENT[word]
    ]
    return [(values["value"], values["extra"]) for values in chosen]


def digest_of(log_id: int, raws: Iterator[bytes] | list[bytes]) -> bytes:
    """The digest of records of a log, computed here."""
    inner = hashlib.sha256(b"".join(raws)).digest()
    return hashlib.sha256(log_id.to_bytes(4, "little") + inner).digest()


def log_folder(root: Path) -> Path:
    """The folder of the log's segments under root."""
    return next(path for path in root.glob("log*") if path.is_dir())


def pull(of: log.Log) -> None:
    """Acknowledge everything, as a bench does that has pulled it all."""
    last = of.last_seq
    assert of.acknowledge(last, digest_of(of.log_id, list(of.iter_from(of.acknowledged + 1))))


class SmallDisk:
    """Stands in for the file system's own count of free blocks: a device of so many blocks holding root."""

    def __init__(self, root: Path, blocks: int, used_by_itself: int = 6) -> None:
        self._root, self._blocks, self._itself = root, blocks, used_by_itself

    def statvfs(self, _path: str) -> tuple[int, ...]:
        """The first four values of os.statvfs."""
        used = self._itself + sum(
            math.ceil(file.stat().st_size / BLOCK) for file in self._root.glob("log*/*")
        )
        return BLOCK, BLOCK, self._blocks, self._blocks - used

    def install(self, monkeypatch: Any) -> "SmallDisk":
        """Let the log see this device."""
        monkeypatch.setattr(room.os, "statvfs", self.statvfs)
        return self


class FailingFile:
    """A file whose chosen operation fails once, before or after it was done.

    operation: "write" or "flush"; done: whether the operation takes effect before the error.
    """

    def __init__(self, path: str, mode: str, operation: str, done: bool) -> None:
        self._file = open(path, mode)  # noqa: SIM115
        self._operation = operation
        self._done = done
        self._unwritten = b""

    def _fail_if(self, operation: str) -> None:
        if self._operation != operation:
            return
        if self._done:
            self._file.write(self._unwritten)
        self._unwritten = b""
        self._operation = ""
        raise OSError(5, "the flash failed")

    def write(self, data: bytes) -> None:
        """Keep data until flush()."""
        self._unwritten += data
        self._fail_if("write")

    def flush(self) -> None:
        """Write what was kept."""
        self._fail_if("flush")
        self._file.write(self._unwritten)
        self._file.flush()

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def segment_files(root: Path, letter: str) -> list[Path]:
    """The segment files of a letter, oldest first."""
    return sorted(log_folder(root).glob(letter + "*"))


def flip(path: Path, offset: int, bits: int = 0xFF) -> None:
    """Change one byte of a file."""
    data = bytearray(path.read_bytes())
    data[offset] ^= bits
    path.write_bytes(data)


def remove_state(root: Path) -> None:
    """Lose both slots of the log's state."""
    for place in "01":
        slot = root / f"log.{place}"
        if slot.exists():
            os.remove(slot)
