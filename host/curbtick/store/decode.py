"""Records as bytes into rows, quickly: one precompiled struct for each kind, derived from the record table.

The store decodes a million records in a sitting, so this is the one place beside the codec that unpacks
them; a test holds the two against each other.
"""

import struct
from binascii import crc32
from collections.abc import Iterable
from functools import partial
from typing import Any, NamedTuple

from curbtick_wire import records
from curbtick_wire._typing import Fields

from curbtick.errors import StoreError

HEADER = struct.Struct("<" + "".join(form for _name, form, _lowest, _highest in records.HEADER))
_TICKS = [name for name, _form, _lowest, _highest in records.HEADER].index("ticks_ms")
# A decoded row leaves out kind, layout and size, which stand before the number.
_BEFORE_SEQ = "<BBH"
ROW_HEADER = ("seq", "boot", "ticks_ms")
_START = struct.Struct(_BEFORE_SEQ)
_TICKS_IN_ROW = ROW_HEADER.index("ticks_ms")
_CRC = struct.Struct("<I")
_RESIDUE = 0x2144DF1C


class Decoded(NamedTuple):
    """One record: who it is, its raw bytes, and what they say.

    row: (seq, boot, ticks_ms, *values), values in column order as on the wire, as one struct gives it; None for
    a kind or layout that this program does not know, and for a value outside its range or a tail that does not fit:
    such a record is kept raw.
    """

    seq: int
    boot: int
    kind: int
    raw: bytes
    row: tuple[Any, ...] | None

    @property
    def ticks_ms(self) -> int:
        """Ticks within its boot."""
        ticks_ms: int = HEADER.unpack_from(self.raw)[_TICKS]
        return ticks_ms

    @property
    def values(self) -> tuple[Any, ...] | None:
        """The kind's values in column order."""
        return None if self.row is None else self.row[len(ROW_HEADER) :]


class _Kind:
    """How to read one record kind. size: bytes of header and fields; unpack: a record to its row."""

    def __init__(self, fields: Fields, tail_form: str | None) -> None:
        skipped = f"<{struct.calcsize(_BEFORE_SEQ)}x"
        kept = HEADER.format.removeprefix(_BEFORE_SEQ) + "".join(
            form for _name, form, _lowest, _highest in fields
        )
        whole = struct.Struct(skipped + kept)
        self.size = whole.size
        self.unpack = whole.unpack_from
        self._ranges = _ranges((*_ROW_FIELDS, *fields))
        self._tail_form = tail_form
        self._counts = [_place(fields, name) for name in _TAIL_COUNTS.get(tail_form or "", ())]

    def fits(self, row: tuple[Any, ...], raw: bytes) -> bool:
        """Whether every value is within its range, and the tail is the one that they say."""
        if not _within(row, self._ranges):
            return False
        tail = raw[self.size : -_CRC.size]
        if self._tail_form == "words":
            return len(tail) <= records.CRASH_WORDS_MAX
        count: int = sum(row[place] for place in self._counts)
        if self._tail_form == "sounds":
            whole = len(tail) == count * _SOUND.size
            return whole and all(_within(sound, _SOUND_RANGES) for sound in _SOUND.iter_unpack(tail))
        return len(tail) == count


_Ranges = list[tuple[int, int, int]]


def _within(values: tuple[Any, ...], ranges: _Ranges) -> bool:
    """Whether the values at these places are within their ranges."""
    return all(low <= values[place] <= high for place, low, high in ranges)


# The fields that count a tail's entries, by the form of the tail.
_TAIL_COUNTS = {"bytes": ("sample_count", "envelope_count"), "sounds": ("count",)}


def _ranges(fields: Fields) -> _Ranges:
    """(place, lowest, highest) of every value whose format holds more than its range."""
    found = []
    place = 0
    for _name, form, low, high in fields:
        bits = 8 * struct.calcsize("<" + form[-1])
        ends = (0, 2**bits - 1) if form[-1].isupper() else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
        count = int(form[:-1] or 1)
        if (low, high) != ends:
            found += [(at, low, high) for at in range(place, place + count)]
        place += count
    return found


def _place(fields: Fields, name: str) -> int:
    """The place of a field in a row; no field with a count before it is repeated."""
    return len(ROW_HEADER) + [field[0] for field in fields].index(name)


_SOUND = struct.Struct("<" + "".join(form for _name, form, _lowest, _highest in records.SOUND))
_SOUND_RANGES = _ranges(records.SOUND)
_ROW_FIELDS = tuple(field for field in records.HEADER if field[0] in ROW_HEADER)
_KINDS = {kind: _Kind(fields, tail_form) for kind, _, fields, tail_form in records.KINDS}
# A named tuple's own way to make one takes twice as long.
_decoded = partial(tuple.__new__, Decoded)


def decode(raw: bytes) -> Decoded:
    """Decode one record of the log; raises as `decode_all`."""
    return decode_all((raw,))[0]


def decode_all(raws: Iterable[bytes]) -> list[Decoded]:
    """Decode records of the log.

    Raises StoreError for a record that is cut short or whose CRC-32 is wrong.
    """
    batch = []
    for raw in raws:
        # A CRC-32 run over its own little-endian value ends in a fixed residue.
        kind, layout, size = _START.unpack_from(raw) if len(raw) >= _START.size else (0, 0, 0)
        form = _KINDS.get(kind) if crc32(raw) == _RESIDUE else None
        if form is None or layout != records.LAYOUT or size != len(raw) or size < form.size + _CRC.size:
            batch.append(_raw_only(raw))
        else:
            row = form.unpack(raw)
            seq, boot = row[:_TICKS_IN_ROW]
            batch.append(_decoded((seq, boot, kind, raw, row if form.fits(row, raw) else None)))
    return batch


def _raw_only(raw: bytes) -> Decoded:
    """A record of a kind or layout not known here, if it is whole."""
    length = len(raw)
    if length < HEADER.size + _CRC.size:
        raise _damaged("it is cut short")
    kind, _, size, seq, boot, _ = HEADER.unpack_from(raw)
    if size != length:
        raise _damaged(f"it says {size} bytes and has {length}")
    if crc32(raw) != _RESIDUE:
        raise _damaged(f"the checksum of number {seq} is wrong")
    return Decoded(seq, boot, kind, raw, None)


def number_of(raw: bytes) -> int:
    """The number that a whole record says it has."""
    return int(HEADER.unpack_from(raw)[3])


def lenient(number: int, raw: bytes) -> Decoded:
    """A record as another history holds it; one that is damaged is carried, and says nothing."""
    try:
        found = decode(raw)
    except StoreError:
        return Decoded(number, 0, 0, raw, None)
    return found if found.seq == number else Decoded(number, 0, 0, raw, None)


def tail_of(raw: bytes, kind: int) -> bytes:
    """The bytes that follow the fields of a record, without the CRC."""
    return raw[_KINDS[kind].size : -_CRC.size]


def _damaged(why: str) -> StoreError:
    return StoreError(
        f"A record from the probe is damaged: {why}.",
        "Nothing of this batch was stored; the probe still has its records.",
        "Pull again; if it happens again, try another cable or port.",
    )
