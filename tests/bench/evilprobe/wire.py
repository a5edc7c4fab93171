"""Frames as protocol/SPEC.md writes them: COBS, kind, request id, payload, CRC-32, a zero."""

import struct
import zlib
from typing import NamedTuple

REPLY = 128


class Frame(NamedTuple):
    """A frame: kind, request id, payload."""

    kind: int
    request_id: int
    payload: bytes


def stuffed(data: bytes) -> bytes:
    """COBS: groups of up to 254 bytes without a zero, each after its length plus one."""
    out = bytearray()
    for part in data.split(b"\0"):
        whole = len(part) // 254 * 254
        for at in range(0, whole, 254):
            out += b"\xff" + part[at : at + 254]
        out += bytes([len(part) - whole + 1]) + part[whole:]
    return bytes(out)


def unstuffed(data: bytes) -> bytes | None:
    """What was stuffed; None where it is no COBS."""
    out = bytearray()
    at = 0
    while at < len(data):
        length = data[at]
        if length == 0 or at + length > len(data):
            return None
        out += data[at + 1 : at + length]
        at += length
        if length < 255 and at < len(data):
            out.append(0)
    return bytes(out)


def encode(kind: int, request_id: int, payload: bytes) -> bytes:
    """A frame's bytes, a zero before and behind it."""
    body = struct.pack("<BH", kind & 255, request_id & 0xFFFF) + payload
    return b"\0" + stuffed(body + struct.pack("<I", zlib.crc32(body))) + b"\0"


def decode(data: bytes) -> Frame | None:
    """The frame between two zeros; None where its stuffing or CRC is wrong."""
    body = unstuffed(data)
    if body is None or len(body) < 7 or zlib.crc32(body[:-4]) != struct.unpack("<I", body[-4:])[0]:
        return None
    kind, request_id = struct.unpack_from("<BH", body)
    return Frame(kind, request_id, body[3:-4])
