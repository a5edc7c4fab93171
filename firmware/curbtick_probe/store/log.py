"""The log: append-only records in flash, each with a sequence number that never comes again.

Two shelves of segment files in one folder under root: `r` for readings and all other records, `w` for waves
(snippets and sounds), which are given up first when space runs short. Sequence numbers run through both.
What the bench has acknowledged stays while there is room, and is freed before anything else. With the state
file lost, numbers still never come again: the newest segment of readings is never freed, and a segment's
name carries a number. The log has an id of 32 random bits, drawn where there is neither a folder of segments nor an
id. It stands in the path of every segment and not inside the file: a torn file keeps its name, so its records keep
their log.
"""

import hashlib
import os
import struct

from curbtick_wire import codec, messages, names, records
from curbtick_wire._typing import Callable, Iterator, Range, Record, Sequence, Values

from curbtick_probe.store import supply
from curbtick_probe.store.room import Room
from curbtick_probe.store.scan import HEAD_SIZE, SegmentReader
from curbtick_probe.store.shelf import Shelf
from curbtick_probe.store.slots import ensure_folder
from curbtick_probe.store.state import State, log_folder

WAVES = (records.SNIPPET, records.SOUNDS)

_GAP = names.EVENTS.index("gap")
_SNIPPETS_DROPPED = names.EVENTS.index("snippets_dropped")
_LOG_FULL = names.EVENTS.index("log_full")
# The fields of an event, as one struct because recovery reads thousands.
_EVENT_FORM = "<BII"
_EVENT_BYTES = HEAD_SIZE + struct.calcsize(_EVENT_FORM) + codec.CRC_SIZE
# Kept free at the end of a segment of readings, so that LOG_FULL can always be logged there.
_LAST_WORDS_BYTES = 2 * _EVENT_BYTES


class LogFull(Exception):
    """A record was not stored: there is no room for it, or flash failed."""


class _Visit:
    """What recovery learns from its scan: the GAP events, and whether LOG_FULL is the last record."""

    def __init__(self) -> None:
        self.gaps: list[Range] = []
        self.full = False

    def __call__(self, reader: SegmentReader) -> None:
        self.full = False
        if reader.kind == records.EVENT and reader.size >= _EVENT_BYTES:
            event, value, extra = struct.unpack_from(_EVENT_FORM, reader.record(), HEAD_SIZE)
            self.full = event == _LOG_FULL
            if event == _GAP:
                self.gaps.append((value, extra))


class Log:
    """The log under root, recovered by scanning; nothing is ever formatted.

    boot: this start's id, 1..2**32-1; ticks_ms: a function giving milliseconds since the start; alive: called now and
    then by what takes long. `log_id`: 1..2**32-1; `next_seq`: the number of the next record. Raises OSError where
    flash cannot be read or written at all.
    """

    def __init__(
        self, root: str, boot: int, ticks_ms: Callable[[], int], alive: Callable[[], None] = lambda: None
    ) -> None:
        self._boot = boot
        self._alive = alive
        self._ticks_ms = ticks_ms
        self._state = State(root)
        self.log_id = self._state.log_id
        folder = log_folder(root, self.log_id)
        ensure_folder(folder)
        self._room = Room(folder, self._state)
        self._readings = Shelf(folder, "r", self._room.segment_bytes)
        self._waves = Shelf(folder, "w", self._room.segment_bytes)
        self._room.share(self._readings, self._waves)
        self._unstored = 0
        self._full = self._waves_full = False
        self._recover(os.listdir(folder))

    def _recover(self, file_names: list[str]) -> None:
        visit = _Visit()
        self._waves.recover(file_names, visit)
        self._readings.recover(file_names, visit)
        self._full = visit.full
        self.next_seq = 1
        self._pass_held()
        floor, top = self._state.floor, self.next_seq
        self._room.finish_drop()
        self._record_gaps(self._lost(floor, top), visit.gaps)
        self._record_drop()

    def _lost(self, floor: int, top: int) -> list[Range]:
        """Ranges of numbers whose records damage may have cost. Raises next_seq above them and above the floor.

        top: 1 above the highest number held or named. The number of a record torn at the very end is spent.
        """
        damage = self._waves.damage + self._readings.damage
        lost = [(first, last or top) for first, last in damage]
        if floor > top and self._state.drop_last < floor - 1:
            lost.append((top, floor - 1))
        for _first, last in lost:
            self.next_seq = max(self.next_seq, last + 1)
        self.next_seq = max(self.next_seq, floor)
        return lost

    def _pass_held(self) -> None:
        """Raise next_seq above the number of every record held and of every segment's name."""
        for shelf in (self._readings, self._waves):
            for place in range(len(shelf.numbers)):
                self.next_seq = max(self.next_seq, shelf.numbers[place], shelf.lasts[place] + 1)

    def _record_gaps(self, lost: list[Range], known: list[Range]) -> None:
        """Record what of the ranges is neither held nor acknowledged, unless an event says so already."""
        for first, last in lost:
            first = max(first, self.acknowledged + 1)
            while first <= last and self.held_from(first) == first:
                first += 1
            while first <= last and self.held_from(last) == last:
                last -= 1
            if first <= last and (first, last) not in known:
                self.event(_GAP, first, last)

    def _record_drop(self) -> None:
        """Log that waves were given up, once there is room for the event; until then the state keeps the range."""
        if not self._state.drop_last:
            return
        if self._readings.room() < _EVENT_BYTES + _LAST_WORDS_BYTES:
            if not self._room.make(self._readings, self.next_seq):
                return
            self._readings.start(self.next_seq)
        self._put_event(_SNIPPETS_DROPPED, self._state.drop_first, self._state.drop_last)
        self._state.clear_drop()
        self._state.save(self.next_seq)

    # Appending.

    def append(self, kind: int, values: Values, tail: bytes = b"") -> int:
        """Append one record: its sequence number, durable on return.

        kind, values, tail: as for codec.encode_record. 0 for a snippet or sounds that found no room. Raises
        LogFull for any other record that was not stored, WireError for a value outside its range.
        """
        return self.append_all(((kind, values, tail),))[0]

    def append_all(self, items: Sequence[Record]) -> list[int]:
        """Append several records with one flush: the list of their sequence numbers, all durable on return.

        items: (kind, values, tail) of each. As append(), for each of them.
        """
        if not supply.is_enough():
            raise LogFull("the supply is too low to write")
        before = self.next_seq
        stored = []
        try:
            for kind, values, tail in items:
                stored.append(self._write(kind, values, tail))
            self._readings.flush()
            self._waves.flush()
        except OSError:
            self._mend(before)
            stored = self._outlived(items, stored)
        return stored

    def _mend(self, before: int) -> None:
        self._readings.mend()
        self._waves.mend()
        self.next_seq = before
        self._pass_held()

    def _outlived(self, items: Sequence[Record], stored: list[int]) -> list[int]:
        """The numbers of items after a mend: 0 for waves not held. Raises LogFull for others."""
        kept = []
        for place in range(len(items)):
            seq = stored[place] if place < len(stored) else 0
            wave = items[place][0] in WAVES
            if seq and (self._waves if wave else self._readings).holds_up_to(seq):
                kept.append(seq)
            elif wave:
                kept.append(0)
                self._unstored += 1
            else:
                raise LogFull("flash failed")
        return kept

    def event(self, event: int, value: int = 0, extra: int = 0) -> int:
        """Append an event (its place in names.EVENTS): its sequence number, or 0 where the log is full."""
        try:
            return self.append(records.EVENT, {"event": event, "value": value, "extra": extra})
        except LogFull:
            return 0

    def _encode(self, kind: int, values: Values, tail: bytes) -> bytes:
        header = {"seq": self.next_seq, "boot": self._boot, "ticks_ms": self._ticks_ms()}
        return codec.encode_record(kind, header, values, tail)

    def _write(self, kind: int, values: Values, tail: bytes) -> int:
        shelf = self._waves if kind in WAVES else self._readings
        seq = self.next_seq
        record = self._encode(kind, values, tail)
        if not self._make_room(shelf, len(record)):
            return self._turn_away(shelf)
        if self.next_seq != seq:
            record = self._encode(kind, values, tail)
        return self._store(shelf, record)

    def _store(self, shelf: Shelf, record: bytes) -> int:
        seq = self.next_seq
        shelf.write(seq, record)
        self.next_seq = seq + 1
        return seq

    def _put_event(self, event: int, value: int, extra: int) -> None:
        values = {"event": event, "value": value, "extra": extra}
        self._store(self._readings, self._encode(records.EVENT, values, b""))
        self._readings.flush()

    def _make_room(self, shelf: Shelf, size: int) -> bool:
        """Whether a shelf can take a record of that size now. A full log stays full until a new segment has room."""
        ours = shelf is self._readings
        spare = _LAST_WORDS_BYTES if ours else 0
        if shelf.room() >= size + spare and not (ours and self._full):
            return True
        if not self._room.make(shelf, self.next_seq):
            return False
        shelf.start(self.next_seq)
        if ours:
            self._full = False
        else:
            self._waves_full = False
        self._record_drop()
        return shelf.room() >= size + spare

    def _turn_away(self, shelf: Shelf) -> int:
        """A record has no room: return 0 for waves, raise LogFull for others. The first one of a row logs an event."""
        if shelf is self._waves:
            self._unstored += 1
            if not self._waves_full and self._readings.room() >= _EVENT_BYTES + _LAST_WORDS_BYTES:
                self._put_event(_SNIPPETS_DROPPED, self.next_seq, 0)
            self._waves_full = True
            return 0
        if not self._full and self._readings.room() >= _EVENT_BYTES:
            self._put_event(_LOG_FULL, 0, 0)
        self._full = True
        raise LogFull("no room")

    # Reading.

    @property
    def first_seq(self) -> int:
        """The lowest number held, 0 in an empty log."""
        return self.held_from(1)

    @property
    def last_seq(self) -> int:
        """The highest number held, 0 in an empty log."""
        return max(self._readings.last(), self._waves.last())

    def held_from(self, seq: int) -> int:
        """The lowest number held at or above seq, 0 where there is none. Raises OSError."""
        reading, wave = self._readings.seek(seq), self._waves.seek(seq)
        return min(reading or wave, wave or reading)

    def read(self, seq: int) -> bytes | None:
        """The raw record of a number, or None where it is not held. Raises OSError."""
        for shelf in (self._readings, self._waves):
            if shelf.seek(seq) == seq:
                return shelf.record()
        return None

    def iter_from(self, seq: int) -> Iterator[bytes]:
        """The raw records held at or above seq, in order. Raises OSError."""
        seq = self.held_from(seq)
        while seq:
            yield self.read(seq) or b""
            seq = self.held_from(seq + 1)

    def digest(self, first: int, last: int) -> bytes:
        """messages.log_digest of the raw records held from first to last, in order."""
        total = hashlib.sha256()
        seq = self.held_from(first)
        while 0 < seq <= last:
            self._alive()
            total.update(self.read(seq))
            seq = self.held_from(seq + 1)
        return messages.log_digest(self.log_id, total.digest())

    def close(self) -> None:
        """Let go of every file, before the file system is unmounted. Raises OSError."""
        self._readings.close()
        self._waves.close()

    # Giving up.

    @property
    def acknowledged(self) -> int:
        """All records up to this number are safe on a bench."""
        acknowledged: int = self._state.acknowledged
        return acknowledged

    def acknowledge(self, seq: int, digest: bytes, first: int = 0) -> bool:
        """Note that a bench holds the records from first to seq: whether that was accepted. Durable on return.

        digest: of those records, as digest() gives it; first: 1 above the highest acknowledged where it is 0. What is
        acknowledged already is accepted again unchecked. Refused are a digest that differs, a number above the last
        one held, and a first that leaves out records not acknowledged yet. Space is freed later, when it is needed.
        Raises OSError.
        """
        if seq <= self.acknowledged:
            return True
        first = first or self.acknowledged + 1
        unseen = self.held_from(self.acknowledged + 1)
        if seq > self.last_seq or unseen < first or self.digest(first, seq) != bytes(digest):
            return False
        self._state.acknowledged = seq
        self._state.save(self.next_seq)
        return True

    def free_bytes(self) -> int:
        """Bytes that readings can still take before anything is given up."""
        return self._room.free_bytes()

    @property
    def drop_pending(self) -> Range:
        """(first, last) of waves given up whose event has found no room yet, (0, 0) where there are none."""
        return self._state.drop_first, self._state.drop_last

    @property
    def dropped(self) -> int:
        """Snippets and sounds given up unpulled, or not stored for want of room, since start."""
        return self._room.dropped + self._unstored
