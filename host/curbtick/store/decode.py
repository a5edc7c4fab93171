"""Records as bytes into rows, quickly: one precompiled struct for each kind, derived from the record table.

The store decodes a million records in a sitting, so this is the one place beside the codec that unpacks
them; a test holds the two against each other.
"""

import struct
from binascii import crc32
from typing import Any, NamedTuple

from curbtick_wire import records

from curbtick.errors import StoreError

HEADER = struct.Struct("<" + "".join(field[1] for field in records.HEADER))
_CRC = struct.Struct("<I")
_RESIDUE = 0x2144DF1C


class Decoded(NamedTuple):
    """One record: header fields, the kind's values in column order as on the wire, and the raw bytes.

    values is None for a kind or layout that this program does not know; such a record is kept raw.
    """

    kind: int
    seq: int
    boot: int
    ticks_ms: int
    values: tuple[Any, ...] | None
    raw: bytes


class _Kind:
    """How to read one record kind: `body` is the struct of its fields, `size` the bytes of header and
    fields.
    """

    def __init__(self, fields: tuple[tuple[str, str, int, int], ...]) -> None:
        self.body = struct.Struct("<" + "".join(field[1] for field in fields))
        self.size = HEADER.size + self.body.size


_KINDS = {kind: _Kind(fields) for kind, _, fields, _ in records.KINDS}


def decode(raw: bytes) -> Decoded:
    """Decode one record of the log.

    Raises StoreError for a record that is cut short or whose CRC-32 is wrong.
    """
    length = len(raw)
    if length < HEADER.size + _CRC.size:
        raise _damaged("it is cut short")
    kind, layout, size, seq, boot, ticks_ms = HEADER.unpack_from(raw)
    if size != length:
        raise _damaged(f"it says {size} bytes and has {length}")
    # A CRC-32 run over its own little-endian value ends in a fixed residue.
    if crc32(raw) != _RESIDUE:
        raise _damaged(f"the checksum of number {seq} is wrong")
    known = _KINDS.get(kind) if layout == records.LAYOUT else None
    if known is None or size < known.size + _CRC.size:
        return Decoded(kind, seq, boot, ticks_ms, None, raw)
    return Decoded(kind, seq, boot, ticks_ms, known.body.unpack_from(raw, HEADER.size), raw)


def tail_of(raw: bytes, kind: int) -> bytes:
    """The bytes that follow the fields of a snippet or sounds record, without the CRC."""
    return raw[_KINDS[kind].size : -_CRC.size]


def _damaged(why: str) -> StoreError:
    return StoreError(
        f"A record from the probe is damaged: {why}.",
        "Nothing of this batch was stored; the probe still has its records.",
        "Pull again; if it happens again, try another cable or port.",
    )
