"""One row of segment files: appended to at one end, freed at the other.

A segment is named by a letter and the sequence number it was started with (eight hex digits), which never
comes again. Only four numbers a segment stay in memory; a record is found by stepping through its segment.
"""

import os
from array import array

from curbtick_wire import records
from curbtick_wire._typing import Any, Callable, Range

from curbtick_probe.store.scan import SegmentReader

_NAME_SIZE = 9


def numbers_in(file_names: list[str], letter: str) -> list[int]:
    """The numbers of the segments of a letter among file names, oldest first."""
    numbers = []
    for name in file_names:
        if len(name) == _NAME_SIZE and name[0] == letter:
            try:
                numbers.append(int(name[1:], 16))
            except ValueError:
                continue
    return sorted(numbers)


def segment_path(folder: str, letter: str, number: int) -> str:
    """The path of a segment file."""
    return folder + "/" + letter + "%08x" % number


class Shelf:
    """The segments of one letter in a folder, oldest first.

    segment_bytes: what a segment may grow to. Index by segment: `numbers` (its name), `firsts` and `lasts`
    (sequence numbers; an empty one has its number and the number before it), `sizes` (bytes), `counts`
    (records). `damage`: ranges (first, last) of sequence numbers whose records of this shelf may be lost, found by
    recover(); last is 0 where damage stands at the very end.
    """

    def __init__(self, folder: str, letter: str, segment_bytes: int) -> None:
        self._folder = folder
        self._letter = letter
        self.segment_bytes = segment_bytes
        self.numbers = array("I")
        self.firsts = array("I")
        self.lasts = array("I")
        self.sizes = array("I")
        self.counts = array("H")
        self.damage: list[Range] = []
        self._growing = False
        self._file: Any = None
        self._reader: Any = None
        self._reader_number = 0
        self._buffer = bytearray(records.SNIPPET_MAX)

    def _path(self, number: int) -> str:
        return segment_path(self._folder, self._letter, number)

    # Recovery: of what stands in the files only whole records count.

    def recover(self, file_names: list[str], visit: Callable[[SegmentReader], None]) -> None:
        """Index the segments among file_names by scanning each, and go on with the last one if it ends clean.

        visit: called with the reader at each whole record.
        """
        for number in numbers_in(file_names, self._letter):
            if self.damage and self.damage[-1][1] == 0:
                self.damage[-1] = (self.damage[-1][0], number - 1)
            self._add(number)
            self._growing = self._scan(visit)

    def _add(self, number: int) -> None:
        self.numbers.append(number)
        self.firsts.append(number)
        self.lasts.append(number - 1)
        self.sizes.append(0)
        self.counts.append(0)

    def empty(self, place: int) -> bool:
        """Whether a segment holds no record."""
        return self.lasts[place] < self.firsts[place]

    def _scan(self, visit: Callable[[SegmentReader], None]) -> bool:
        """Fill in the last segment's index. True where every byte of it belongs to a record."""
        number = self.numbers[-1]
        found = len(self.damage)
        try:
            self.sizes[-1] = os.stat(self._path(number))[6]
            reader = SegmentReader(self._path(number), self._buffer)
        except OSError:
            self.damage.append((number, 0))
            return False
        try:
            self._step_through(reader, visit)
        except OSError:
            self._note_tail()
        finally:
            reader.close()
        return len(self.damage) == found

    def _step_through(self, reader: SegmentReader, visit: Callable[[SegmentReader], None]) -> None:
        while reader.step():
            if reader.damaged:
                self.damage.append((self.lasts[-1] + 1, reader.seq - 1))
            self._count_in(reader.seq)
            visit(reader)
        if reader.damaged:
            self._note_tail()

    def _count_in(self, seq: int) -> None:
        if self.empty(-1):
            self.firsts[-1] = seq
        self.lasts[-1] = seq
        self.counts[-1] += 1

    def _note_tail(self) -> None:
        """Note bytes at the segment's end that are not a record; the next segment's number ends their range."""
        self.damage.append((self.lasts[-1] + 1, 0))

    # Appending.

    def room(self) -> int:
        """Bytes that still fit into the newest segment, 0 where it may not grow."""
        return max(0, self.segment_bytes - self.sizes[-1]) if self._growing else 0

    def start(self, seq: int) -> None:
        """End the newest segment and start one whose first record will be seq or later. Raises OSError."""
        self._let_go()
        self._file = open(self._path(seq), "wb")
        self._add(seq)
        self._growing = True

    def _let_go(self) -> None:
        """Close the file that is appended to. Two open handles on one file make littlefs count its blocks twice."""
        if self._file:
            file, self._file = self._file, None
            file.close()

    def write(self, seq: int, record: bytes) -> None:
        """Append a record to the newest segment; durable after flush(). Raises OSError."""
        if self._reader_number == self.numbers[-1]:
            self._forget_reader()
        if self._file is None:
            self._file = open(self._path(self.numbers[-1]), "ab")
        self._file.write(record)
        self._count_in(seq)
        self.sizes[-1] += len(record)

    def close(self) -> None:
        """Let go of every file."""
        self._let_go()
        self._forget_reader()

    def flush(self) -> None:
        """Make what was written durable. Raises OSError."""
        if self._file:
            self._file.flush()

    def mend(self) -> None:
        """After an OSError: leave the newest segment and learn from its file what it really holds."""
        self._growing = False
        try:
            self.close()
        except OSError:
            self._reader = None
            self._reader_number = 0
        if len(self.numbers):
            number = self.numbers[-1]
            self.firsts[-1], self.lasts[-1], self.counts[-1] = number, number - 1, 0
            self._scan(lambda reader: None)
            self.damage = []

    def last(self) -> int:
        """The highest number held, 0 where there is none."""
        for place in range(len(self.lasts) - 1, -1, -1):
            if not self.empty(place):
                return self.lasts[place]
        return 0

    def holds_up_to(self, seq: int) -> bool:
        """Whether the newest segment holds records up to seq."""
        return len(self.lasts) > 0 and not self.empty(-1) and self.lasts[-1] >= seq

    # Freeing.

    def free_oldest(self) -> None:
        """Remove the oldest segment's file and forget the segment. Raises OSError."""
        if len(self.numbers) == 1:
            self._let_go()
            self._growing = False
        if self._reader_number == self.numbers[0]:
            self._forget_reader()
        os.remove(self._path(self.numbers[0]))
        for name in ("numbers", "firsts", "lasts", "sizes", "counts"):
            setattr(self, name, getattr(self, name)[1:])

    # Reading.

    def seek(self, seq: int) -> int:
        """The number of the first record at or after seq, 0 where there is none; record() then gives it.

        Cheap when the sequence numbers asked for rise. Raises OSError where a file cannot be read.
        """
        seq = max(seq, 1)
        for place in range(self._place_of(seq), len(self.numbers)):
            if not self.empty(place) and self._step_to(place, seq):
                found: int = self._reader.seq
                return found
        return 0

    def _place_of(self, seq: int) -> int:
        """The first segment whose last record is at or after seq, by halving."""
        low, high = 0, len(self.lasts)
        while low < high:
            middle = (low + high) // 2
            if self.lasts[middle] < seq:
                low = middle + 1
            else:
                high = middle
        return low

    def _step_to(self, place: int, seq: int) -> bool:
        number = self.numbers[place]
        if self._reader_number != number or self._reader.before >= seq:
            self._forget_reader()
            if number == self.numbers[-1]:
                self._let_go()
            self._reader = SegmentReader(self._path(number), self._buffer)
            self._reader_number = number
        while self._reader.seq < seq:
            if not self._reader.step():
                self._forget_reader()
                return False
        return True

    def _forget_reader(self) -> None:
        if self._reader:
            self._reader.close()
        self._reader = None
        self._reader_number = 0

    def record(self) -> bytes:
        """The record that seek() found, as bytes."""
        record: bytes = self._reader.record()
        return record
