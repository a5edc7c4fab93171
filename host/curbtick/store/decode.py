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
    a kind or layout that this program does not know: such a record is kept raw.
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

    def __init__(self, fields: tuple[tuple[str, str, int, int], ...]) -> None:
        skipped = f"<{struct.calcsize(_BEFORE_SEQ)}x"
        kept = HEADER.format.removeprefix(_BEFORE_SEQ) + "".join(
            form for _name, form, _lowest, _highest in fields
        )
        whole = struct.Struct(skipped + kept)
        self.size = whole.size
        self.unpack = whole.unpack_from


# A named tuple's own way to make one takes twice as long.
_decoded = partial(tuple.__new__, Decoded)
_KINDS = {kind: _Kind(fields) for kind, _, fields, _ in records.KINDS}


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
            batch.append(_decoded((seq, boot, kind, raw, row)))
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
