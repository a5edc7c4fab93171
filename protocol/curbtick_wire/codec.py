"""Fields, records, limit sets and rounds to bytes and back, every value held to its range.

The tables in records.py and settings.py say what is packed; nothing here knows a field by name. Little-endian
throughout. A value is an int, a tuple of ints for a repeated format ("6B"), or bytes for an `s` format ("8s"),
whose range is not looked at.
"""

import binascii
import struct

from curbtick_wire import classes, records, settings
from curbtick_wire._typing import Any, Field, Fields, Kind, Values
from curbtick_wire.errors import WireError

CRC_SIZE = 4


def crc32(data: bytes) -> int:
    """CRC-32 (CRC-32/ISO-HDLC of the RevEng catalogue) of a bytes-like object, 0..2**32-1."""
    value: int = binascii.crc32(data) & 0xFFFFFFFF
    return value


def size_of(fields: Fields) -> int:
    """Packed size of a field table in bytes."""
    return sum(struct.calcsize("<" + form) for _name, form, _lowest, _highest in fields)


def check(field: Field, value: Any) -> None:
    """Raise WireError unless value is a whole number, or whole numbers, within the field's range."""
    name, form, lowest, highest = field
    repeated = len(form) > 1
    if repeated and (not isinstance(value, (tuple, list)) or len(value) != int(form[:-1])):
        raise WireError(name, f"must be {form[:-1]} values")
    for item in value if repeated else (value,):
        if not isinstance(item, int):
            raise WireError(name, "is not a whole number")
        if not lowest <= item <= highest:
            raise WireError(name, f"{item} is outside {lowest}..{highest}")


def _pack_one(field: Field, value: Any) -> bytes:
    name, form, _lowest, _highest = field
    if form[-1] == "s":
        if not isinstance(value, (bytes, bytearray)) or len(value) != int(form[:-1]):
            raise WireError(name, f"must be {form[:-1]} bytes")
        return bytes(value)
    check(field, value)
    if len(form) > 1:
        return struct.pack("<" + form, *value)
    return struct.pack("<" + form, value)


def pack(fields: Fields, values: Values) -> bytes:
    """Pack a dict of values by a field table.

    Raises WireError for a missing or unknown name and for a value outside its field's range.
    """
    out = bytearray()
    names = []
    for field in fields:
        name = field[0]
        if name not in values:
            raise WireError(name, "is missing")
        out.extend(_pack_one(field, values[name]))
        names.append(name)
    if len(values) != len(fields):
        raise WireError(next(name for name in values if name not in names), "is not a field here")
    return bytes(out)


def _unpack_one(field: Field, data: bytes, offset: int) -> Any:
    _name, form, _lowest, _highest = field
    got = struct.unpack_from("<" + form, data, offset)
    if form[-1] == "s":
        return bytes(got[0])
    value = tuple(got) if len(form) > 1 else got[0]
    check(field, value)
    return value


def unpack(fields: Fields, data: bytes, offset: int = 0) -> tuple[Values, int]:
    """Unpack a field table from data at offset: (dict of values, offset after the last field).

    Raises WireError where data ends early or a value is outside its field's range.
    """
    values = {}
    for field in fields:
        name, form, _lowest, _highest = field
        after = offset + struct.calcsize("<" + form)
        if after > len(data):
            raise WireError(name, "the data end before it")
        values[name] = _unpack_one(field, data, offset)
        offset = after
    return values, offset


def pack_list(fields: Fields, rows: list[Values]) -> bytes:
    """Pack a list of dicts by one field table, one after the other."""
    return b"".join([pack(fields, row) for row in rows])


def unpack_list(fields: Fields, data: bytes, count: int, offset: int = 0) -> tuple[list[Values], int]:
    """Unpack count rows of a field table: (list of dicts, offset after the last row)."""
    rows = []
    for _ in range(count):
        row, offset = unpack(fields, data, offset)
        rows.append(row)
    return rows, offset


def kind_entry(kind: int) -> Kind | None:
    """The entry (number, name, fields, tail form) of a record kind, or None for a kind not known here."""
    for entry in records.KINDS:
        number, _name, _fields, _tail_form = entry
        if number == kind:
            return entry
    return None


def encode_record(kind: int, header: dict[str, int], values: Values, tail: bytes = b"") -> bytes:
    """One whole record as it stands in the log.

    kind: number of records.KINDS; header: dict of seq, boot, ticks_ms; values: dict of the kind's fields;
    tail: bytes, only for a kind that has one. Raises WireError for anything outside its range.
    """
    entry = kind_entry(kind)
    if entry is None:
        raise WireError("kind", f"{kind} is not a record kind")
    _number, name, fields, tail_form = entry
    if tail and tail_form is None:
        raise WireError("tail", f"a {name} record has none")
    body = pack(fields, values)
    size = size_of(records.HEADER) + len(body) + len(tail) + CRC_SIZE
    largest = records.SNIPPET_MAX if tail_form else records.RECORD_MAX
    if size > largest:
        raise WireError("size", f"{size} is more than {largest}")
    head = {"kind": kind, "layout": records.LAYOUT, "size": size}
    head.update(header)
    data = pack(records.HEADER, head) + body + bytes(tail)
    return data + struct.pack("<I", crc32(data))


def record_header(data: bytes, offset: int = 0) -> Values:
    """The header fields of a record as a dict, its CRC unchecked. Raises WireError."""
    return unpack(records.HEADER, data, offset)[0]


def check_record(data: bytes) -> Values:
    """The header of a whole record whose size and CRC are right. Raises WireError otherwise."""
    header = record_header(data)
    if header["size"] != len(data):
        raise WireError("size", f"says {header['size']}, the record has {len(data)} bytes")
    if struct.unpack_from("<I", data, len(data) - CRC_SIZE)[0] != crc32(bytes(data[:-CRC_SIZE])):
        raise WireError("record", "its CRC is wrong")
    return header


def decode_record(data: bytes) -> Values:
    """A whole record as a dict: kind, layout, seq, boot, ticks_ms, known, values, tail.

    A kind or a layout this version does not know is no error: known is False, values is empty and tail holds
    all bytes between header and CRC, so that it can be kept as it is. Raises WireError for a damaged record.
    """
    header = check_record(data)
    del header["size"]
    offset = size_of(records.HEADER)
    body = bytes(data[offset:-CRC_SIZE])
    entry = kind_entry(header["kind"])
    header["known"] = known = entry is not None and header["layout"] == records.LAYOUT
    header["values"], header["tail"] = {}, body
    if entry is not None and known:
        _number, _name, fields, _tail_form = entry
        header["values"], end = unpack(fields, body)
        header["tail"] = body[end:]
        _check_tail(entry, header)
    return header


def _check_tail(entry: Kind, record: Values) -> None:
    _number, name, _fields, tail_form = entry
    length = len(record["tail"])
    if tail_form is None and length:
        raise WireError("tail", f"a {name} record has none")
    if tail_form == "sounds" and length != record["values"]["count"] * size_of(records.SOUND):
        raise WireError("tail", "does not hold `count` sounds")
    if tail_form == "words" and length > records.CRASH_WORDS_MAX:
        raise WireError("tail", "has more words than a " + name + " record may have")


def _pack_set(
    head_fields: Fields,
    row_fields: Fields,
    value: Values,
    rows_name: str,
    count_name: str,
) -> bytes:
    head = dict(value)
    rows = head.pop(rows_name, None)
    if rows is None:
        raise WireError(rows_name, "is missing")
    head[count_name] = len(rows)
    return pack(head_fields, head) + pack_list(row_fields, rows)


def _unpack_set(
    head_fields: Fields,
    row_fields: Fields,
    data: bytes,
    rows_name: str,
    count_name: str,
) -> Values:
    value, offset = unpack(head_fields, data)
    value[rows_name], offset = unpack_list(row_fields, data, value.pop(count_name), offset)
    if offset != len(data):
        raise WireError("size", f"{len(data) - offset} bytes stand after the end")
    return value


def pack_limits(limits: Values) -> bytes:
    """A limit set as bytes: a dict of the LIMIT_SET fields without class_count, and `classes`, a list of dicts.

    Ranges only; whether the values make sense together is the probe's limits module's to judge.
    """
    return _pack_set(settings.LIMIT_SET, settings.LIMIT_CLASS, limits, "classes", "class_count")


def unpack_limits(data: bytes) -> Values:
    """The dict that pack_limits packs. Raises WireError."""
    return _unpack_set(settings.LIMIT_SET, settings.LIMIT_CLASS, data, "classes", "class_count")


def pack_round(round_: Values) -> bytes:
    """A round as bytes: a dict of round_id and `vehicles`, a list of dicts of the ROUND_VEHICLE fields."""
    return _pack_set(settings.ROUND, settings.ROUND_VEHICLE, round_, "vehicles", "vehicle_count")


def unpack_round(data: bytes) -> Values:
    """The dict that pack_round packs. Raises WireError."""
    return _unpack_set(settings.ROUND, settings.ROUND_VEHICLE, data, "vehicles", "vehicle_count")


def pack_calibration(calibration: Values) -> bytes:
    """A calibration as bytes: a dict of the CALIBRATION fields without gain_count, and `gains`, a list of dicts."""
    return _pack_set(settings.CALIBRATION, settings.CALIBRATION_GAIN, calibration, "gains", "gain_count")


def unpack_calibration(data: bytes) -> Values:
    """The dict that pack_calibration packs. Raises WireError."""
    return _unpack_set(settings.CALIBRATION, settings.CALIBRATION_GAIN, data, "gains", "gain_count")


def factory_limits() -> Values:
    """The factory limit set in the form of unpack_limits."""
    limits: Values = dict(settings.FACTORY_SET)
    limits["classes"] = classes.factory_classes()
    return limits
