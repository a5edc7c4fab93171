"""Reads a segment file record by record; no record counts before its CRC is checked.

A whole record of a kind that this firmware does not know was written by a later one; it is kept and sent all the same.
"""

import struct

from curbtick_wire import codec, records

# kind, layout, size, seq, boot, ticks_ms: records.HEADER, as one struct because a scan reads thousands.
HEAD = "<BBHIII"
HEAD_SIZE = 16
SIZE_MIN = HEAD_SIZE + codec.CRC_SIZE


def _plausible(kind: int, layout: int, size: int) -> bool:
    return kind > 0 and layout > 0 and SIZE_MIN <= size <= records.SNIPPET_MAX


class SegmentReader:
    """Steps through one segment file. Raises OSError where the file cannot be opened or read.

    path: the file; buffer: a bytearray of records.SNIPPET_MAX bytes, which holds the record stepped to.
    After `step`: `kind`, `size`, `seq`, `boot` of that record, `before` the seq of the one before it (0 at
    the first). `damaged`: whether bytes that are not a record lie just before this one or, after the last step, at the
    end of the file. `end`: the offset after the last whole record.
    """

    def __init__(self, path: str, buffer: bytearray) -> None:
        self._file = open(path, "rb")
        self._buffer = buffer
        self._view = memoryview(buffer)
        self.kind = self.size = self.seq = self.boot = self.before = self.end = 0
        self.damaged = False

    def close(self) -> None:
        """Close the file; a second time does nothing."""
        self._file.close()

    def step(self) -> bool:
        """Go to the next whole record: True, or False at the end of the file. Skips what is no record."""
        offset = self.end
        while True:
            found = self._take(offset)
            if found is None:
                self.damaged = self._left(self.end) > 0
                return False
            if found:
                self.damaged = offset != self.end
                self.end = offset + self.size
                return True
            offset += 1

    def _left(self, offset: int) -> int:
        self._file.seek(offset)
        return len(self._file.read(1))

    def _take(self, offset: int) -> bool | None:
        """Read the record at offset: True; False where there is none; None past the last place for one."""
        self._file.seek(offset)
        if self._file.readinto(self._view[:HEAD_SIZE]) < HEAD_SIZE:
            return None
        kind, layout, size, seq, boot, _ticks = struct.unpack_from(HEAD, self._buffer, 0)
        if not _plausible(kind, layout, size) or seq <= self.seq:
            return False
        rest = self._view[HEAD_SIZE:size]
        if self._file.readinto(rest) < len(rest) or not self._whole(size):
            return False
        self.kind, self.size, self.boot = kind, size, boot
        self.before, self.seq = self.seq, seq
        return True

    def _whole(self, size: int) -> bool:
        body = size - codec.CRC_SIZE
        stored: int = struct.unpack_from("<I", self._buffer, body)[0]
        return stored == codec.crc32(self._view[:body])

    def record(self) -> bytes:
        """The record stepped to, as bytes."""
        return bytes(self._view[: self.size])
