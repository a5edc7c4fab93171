"""Records as bytes into rows, quickly: one precompiled struct for each kind, derived from the record table.

The store decodes a million records in a sitting, so this is the one place beside the codec that unpacks
them; a test holds the two against each other.
"""

import binascii
import struct
from typing import Any, NamedTuple

from curbtick.errors import StoreError
from curbtick_wire import records

HEADER = struct.Struct("<" + "".join(field[1] for field in records.HEADER))
_CRC = struct.Struct("<I")
_MARKERS = {"h": records.NONE_I16, "i": records.NONE_I32}

# Fields where 0 is the probe's way of saying that there was nothing to measure.
ZERO_IS_NONE = frozenset(("frequency_hz", "interval_us", "burst_us", "ringdown_us", "measured_hz"))


class Decoded(NamedTuple):
    """One record: header fields, the kind's values in column order (not measured is None), and the raw bytes.

    values is None for a kind or layout that this program does not know; such a record is kept raw.
    """

    kind: int
    seq: int
    boot: int
    ticks_ms: int
    values: tuple[Any, ...] | None
    raw: bytes


class _Kind:
    """How to read one record kind."""

    def __init__(self, fields: tuple[tuple[str, str, int, int], ...]) -> None:
        self.body = struct.Struct("<" + "".join(field[1] for field in fields))
        letters: list[tuple[str, str]] = []
        for name, form, _, _ in fields:
            letters += [(name, form[-1])] * int(form[:-1] or 1)
        self.nones = [
            (place, 0 if name in ZERO_IS_NONE else _MARKERS[letter])
            for place, (name, letter) in enumerate(letters)
            if name in ZERO_IS_NONE or letter in _MARKERS
        ]

    def values(self, raw: bytes) -> tuple[Any, ...]:
        unpacked = self.body.unpack_from(raw, HEADER.size)
        for place, marker in self.nones:
            if unpacked[place] == marker:
                return self._with_nones(unpacked)
        return unpacked

    def _with_nones(self, unpacked: tuple[Any, ...]) -> tuple[Any, ...]:
        made = list(unpacked)
        for place, marker in self.nones:
            if made[place] == marker:
                made[place] = None
        return tuple(made)


_KINDS = {kind: _Kind(fields) for kind, _, fields, _ in records.KINDS}


def decode(raw: bytes) -> Decoded:
    """Decode one record of the log.

    Raises StoreError for a record that is cut short or whose CRC-32 is wrong.
    """
    if len(raw) < HEADER.size + _CRC.size:
        raise _damaged("it is cut short")
    kind, layout, size, seq, boot, ticks_ms = HEADER.unpack_from(raw)
    if size != len(raw):
        raise _damaged(f"it says {size} bytes and has {len(raw)}")
    if binascii.crc32(memoryview(raw)[:-4]) != _CRC.unpack_from(raw, size - 4)[0]:
        raise _damaged(f"the checksum of number {seq} is wrong")
    known = _KINDS.get(kind) if layout == records.LAYOUT else None
    if known is None or size < HEADER.size + known.body.size + _CRC.size:
        return Decoded(kind, seq, boot, ticks_ms, None, raw)
    return Decoded(kind, seq, boot, ticks_ms, known.values(raw), raw)


def tail_of(raw: bytes, kind: int) -> bytes:
    """The bytes that follow the fields of a snippet or sounds record, without the CRC."""
    return raw[HEADER.size + _KINDS[kind].body.size : -_CRC.size]


def _damaged(why: str) -> StoreError:
    return StoreError(
        f"A record from the probe is damaged: {why}.",
        "Nothing of this batch was stored; the probe still has its records.",
        "Pull again; if it happens again, try another cable or port.",
    )
