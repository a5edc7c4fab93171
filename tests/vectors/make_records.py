"""Writes records.jsonl: records and messages as bytes beside their values.

    python -m tests.vectors.make_records

The bytes are built here by one struct for each table and crcmod's CRC-32, not by the project's own codec. A line has
`what` ("record" or "message"), `kind`, `header` (of a record), `values`, `tail` (hex) and `bytes` (hex).
"""

import json
import struct
from pathlib import Path
from typing import Any

import crcmod.predefined
from curbtick_wire import messages, records

PATH = Path(__file__).with_name("records.jsonl")
HEADER = {"seq": 0x01020304, "boot": 0x05060000, "ticks_ms": 0x0708090A}
_crc32 = crcmod.predefined.mkCrcFun("crc-32")


def _value(field: tuple[str, str, int, int], place: int) -> Any:
    """The field's lowest, highest, or a value between; bytes as hex."""
    name, form, lowest, highest = field
    many = int(form[:-1] or 1)
    if form[-1] == "s":
        return bytes((place * 85 + k) % 256 for k in range(many)).hex()
    number = (lowest, highest, lowest + (highest - lowest) * (len(name) % 7) // 7)[place]
    return [number] * many if len(form) > 1 else number


def _packed(fields: Any, values: dict[str, Any]) -> bytes:
    flat: list[Any] = []
    for name, form, _lowest, _highest in fields:
        value = bytes.fromhex(values[name]) if form[-1] == "s" else values[name]
        flat += value if isinstance(value, list) else [value]
    return struct.pack("<" + "".join(field[1] for field in fields), *flat)


def _record(kind: int, fields: Any, tail_form: str | None, place: int) -> dict[str, Any]:
    values = {field[0]: _value(field, place) for field in fields}
    tail = {"bytes": b"\1\0\xff", "words": b"log.py 214: OSError 5"}.get(tail_form or "", b"")
    if tail_form == "sounds":
        values["count"] = place
        tail = struct.pack("<HhHHB", 1, -2000, 24000, 3, 1) * place
    body = _packed(fields, values) + tail
    head = struct.pack("<BBHIII", kind, records.LAYOUT, 16 + len(body) + 4, *HEADER.values())
    data = head + body
    return {
        "what": "record",
        "kind": kind,
        "header": HEADER,
        "values": values,
        "tail": tail.hex(),
        "bytes": (data + struct.pack("<I", _crc32(data))).hex(),
    }


def _message(kind: int, fields: Any, place: int) -> dict[str, Any]:
    values = {field[0]: _value(field, place) for field in fields}
    return {
        "what": "message",
        "kind": kind,
        "values": values,
        "tail": "",
        "bytes": _packed(fields, values).hex(),
    }


def cases() -> list[dict[str, Any]]:
    """Every vector, in order."""
    made = [
        _record(kind, fields, tail, place)
        for kind, _name, fields, tail in records.KINDS
        for place in range(3)
    ]
    for entry in messages.REQUESTS + messages.REPLIES:
        made += [_message(entry[0], entry[2], place) for place in range(3)]
    return made


def text() -> str:
    """The file's contents."""
    return "".join(json.dumps(case) + "\n" for case in cases())


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")
