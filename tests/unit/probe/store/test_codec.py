"""What the storage relies on in the codec: each refusal, with its field and its words."""

import struct
from collections.abc import Callable
from typing import Any

import pytest
from curbtick_wire import classes, codec, records
from curbtick_wire.errors import WireError

from tests.unit.probe.store.flashdata import values_of

HEADER = {"seq": 1, "boot": 1, "ticks_ms": 0}


def encode(kind: int, values: dict[str, Any], tail: bytes = b"") -> bytes:
    """A record of boot 1."""
    return codec.encode_record(kind, HEADER, values, tail)


def sealed(body: bytes) -> bytes:
    """A body with its right CRC."""
    return body + struct.pack("<I", codec.crc32(body))


def refusal(work: Callable[..., Any], *arguments: Any) -> tuple[str, str]:
    """(field, why) of the WireError that a piece of work raises."""
    with pytest.raises(WireError) as error:
        work(*arguments)
    return error.value.field, error.value.why


READING = values_of(records.READING)
SIX = values_of(records.BUMPER)
CLASSES = codec.factory_limits()


def test_refusals_of_values() -> None:
    assert refusal(encode, records.BUMPER, SIX | {"verdicts": (0,) * 5}) == ("verdicts", "must be 6 values")
    assert refusal(codec.pack, (("id", "8s", 0, 0),), {"id": b"1234567"}) == ("id", "must be 8 bytes")
    assert refusal(codec.pack, (("id", "8s", 0, 0),), {"id": "12345678"}) == ("id", "must be 8 bytes")
    fields = (("low", "B", 3, 9),)
    assert refusal(codec.unpack, fields, b"\x02") == ("low", "2 is outside 3..9")
    assert refusal(codec.unpack, fields, b"\x0a") == ("low", "10 is outside 3..9")
    assert refusal(codec.unpack, fields, b"") == ("low", "the data end before it")


def test_refusals_of_a_record_to_encode() -> None:
    assert refusal(encode, 10, READING) == ("kind", "10 is not a record kind")
    assert refusal(encode, 0, READING) == ("kind", "0 is not a record kind")
    assert refusal(encode, records.READING, READING, b"x") == ("tail", "a reading record has none")
    values = values_of(records.SNIPPET, reading_seq=1)
    assert len(encode(records.SNIPPET, values, bytes(762))) == records.SNIPPET_MAX
    assert refusal(encode, records.SNIPPET, values, bytes(763)) == ("size", "801 is more than 800")


def test_a_record_without_a_tail_keeps_to_the_smaller_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(records, "RECORD_MAX", len(encode(records.READING, READING)) - 1)
    assert refusal(encode, records.READING, READING) == ("size", "86 is more than 85")


def test_refusals_of_a_record_to_check() -> None:
    whole = encode(records.EVENT, {"event": 1, "value": 2, "extra": 3})
    body = whole[:-4]
    assert codec.check_record(sealed(body))["seq"] == 1
    assert refusal(codec.check_record, sealed(body + b"\0")) == ("size", "says 29, the record has 30 bytes")
    assert refusal(codec.check_record, sealed(body[:-1])) == ("size", "says 29, the record has 28 bytes")
    assert refusal(codec.check_record, whole[:-1] + b"\0") == ("record", "its CRC is wrong")


def test_refusals_of_tails_to_decode() -> None:
    body = bytearray(encode(records.EVENT, {"event": 1, "value": 2, "extra": 3})[:-4] + b"\0")
    body[2] += 1
    assert refusal(codec.decode_record, sealed(bytes(body))) == ("tail", "a event record has none")
    sounds = bytearray(
        encode(records.SOUNDS, values_of(records.SOUNDS, reading_seq=1, count=1), bytes(9))[:-4]
    )
    del sounds[-1]
    sounds[2] -= 1
    assert refusal(codec.decode_record, sealed(bytes(sounds))) == ("tail", "does not hold `count` sounds")
    crash = encode(records.CRASH, values_of(records.CRASH), b"x" * (records.CRASH_WORDS_MAX + 1))
    assert refusal(codec.decode_record, crash) == ("tail", "has more words than a crash record may have")


def test_refusals_of_sets() -> None:
    limits = {name: value for name, value in CLASSES.items() if name != "classes"}
    assert refusal(codec.pack_limits, limits) == ("classes", "is missing")
    assert refusal(codec.pack_round, {"round_id": 1}) == ("vehicles", "is missing")
    data = codec.pack_limits(CLASSES)
    assert refusal(codec.unpack_limits, data + b"\0\0") == ("size", "2 bytes stand after the end")
    assert codec.unpack_limits(data)["classes"][0]["pass_cdb"] == classes.LEVELS["pass_cdb"]
