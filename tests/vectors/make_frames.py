"""Writes frames.jsonl: what must come out of a frame reader for bytes that come in, damaged and noisy ones included.

    python -m tests.vectors.make_frames

Frames are built here from PyPI `cobs` and crcmod's CRC-32, not from the project's own codec. A line has `name`,
`pieces` (hex, as they come off the wire), `frames` ([kind, request, payload hex]), `damaged` and `too_long` (counts).
"""

import json
import struct
from pathlib import Path
from typing import Any

import crcmod.predefined
from cobs import cobs

PATH = Path(__file__).with_name("frames.jsonl")
PAYLOAD_MAX = 512
_crc32 = crcmod.predefined.mkCrcFun("crc-32")

TRACEBACK = (
    b'Traceback (most recent call last):\r\n  File "main.py", line 1, in <module>\r\nMemoryError: \r\n>>> '
)
AT_COMMANDS = b"AT+CGMI\r"


def body_of(kind: int, request: int, payload: bytes) -> bytes:
    """Head, payload and CRC, not yet stuffed."""
    body = struct.pack("<BH", kind, request) + payload
    return body + struct.pack("<I", _crc32(body))


def frame(kind: int, request: int, payload: bytes) -> bytes:
    """A frame with its delimiter."""
    return bytes(cobs.encode(body_of(kind, request, payload))) + b"\0"


def _case(
    name: str, pieces: list[bytes], sent: list[tuple[int, int, bytes]], **counts: int
) -> dict[str, Any]:
    return {
        "name": name,
        "pieces": [piece.hex() for piece in pieces],
        "frames": [[kind, request, payload.hex()] for kind, request, payload in sent],
        "damaged": counts.get("damaged", 0),
        "too_long": counts.get("too_long", 0),
    }


def _lengths() -> list[dict[str, Any]]:
    """Payloads around the sizes of USB packets, COBS runs and the largest payload, of three fillings."""
    fillings = {
        "zeros": bytes,
        "ones": lambda n: b"\1" * n,
        "rising": lambda n: bytes(i & 255 for i in range(n)),
    }
    sizes = (0, 1, 63, 64, 65, 127, 128, 129, 246, 247, 248, 253, 254, 255, 256, 500, 507, 511, 512)
    cases = []
    for name, fill in fillings.items():
        for size in sizes:
            message = (5, 0x0100 + size, fill(size))
            cases.append(_case(f"{name}_{size}", [frame(*message)], [message]))
    return cases


def _damaged() -> list[dict[str, Any]]:
    good = (1, 7, b"good")
    data = frame(9, 0x1234, b"payload")
    flipped = [
        data[:place] + bytes([data[place] ^ 1 or 2]) + data[place + 1 :] for place in range(len(data) - 1)
    ]
    cases = [
        _case(f"flip_at_{place}", [bad, frame(*good)], [good], damaged=1) for place, bad in enumerate(flipped)
    ]
    cases += [
        _case("cut_short", [data[:5] + b"\0", frame(*good)], [good], damaged=1),
        _case("byte_lost", [data[:4] + data[5:], frame(*good)], [good], damaged=1),
        _case("byte_doubled", [data[:4] + data[3:], frame(*good)], [good], damaged=1),
        _case("head_lost", [data[3:], frame(*good)], [good], damaged=1),
        _case("delimiter_lost", [data[:-1] + frame(*good), frame(*good)], [good], damaged=1),
        _case(
            "shorter_than_its_crc", [bytes(cobs.encode(b"\1\2\3")) + b"\0", frame(*good)], [good], damaged=1
        ),
        _case("crc_alone", [bytes(cobs.encode(struct.pack("<I", _crc32(b"")))) + b"\0"], [], damaged=1),
    ]
    return cases


def _too_long() -> list[dict[str, Any]]:
    good = (1, 7, b"good")
    over = frame(5, 1, b"\1" * (PAYLOAD_MAX + 8))
    just_over = frame(5, 1, bytes(PAYLOAD_MAX + 1))
    return [
        _case("payload_one_too_long", [just_over, frame(*good)], [good], too_long=1),
        _case("payload_too_long", [over, frame(*good)], [good], too_long=1),
        _case("endless_ones", [b"\1" * 300] * 10 + [b"\0", frame(*good)], [good], too_long=1),
        _case("too_long_twice", [over, over, frame(*good)], [good], too_long=2),
        _case(
            "too_long_in_bytes",
            [over[i : i + 1] for i in range(len(over))] + [frame(*good)],
            [good],
            too_long=1,
        ),
    ]


def _noise() -> list[dict[str, Any]]:
    good, more = (1, 7, b"good"), (2, 8, b"\0\0")
    data = frame(*good)
    return [
        _case("empty_frames", [b"\0\0\0", data, b"\0\0", frame(*more)], [good, more]),
        _case("at_command_then_delimiter", [AT_COMMANDS, b"\0" + data], [good], damaged=1),
        _case("at_command_glued_on", [AT_COMMANDS + data, data], [good], damaged=1),
        _case("traceback_then_delimiter", [TRACEBACK + b"\0" + data], [good], damaged=1),
        _case("traceback_between", [data, TRACEBACK, b"\0", frame(*more)], [good, more], damaged=1),
        _case("repl_prompt", [b"\r\n>>> \0" + data], [good], damaged=1),
        _case("split_into_bytes", [data[i : i + 1] for i in range(len(data))], [good]),
        _case("two_in_one_piece", [data + frame(*more)], [good, more]),
        _case("split_across_two", [data[:6], data[6:] + frame(*more)[:3], frame(*more)[3:]], [good, more]),
        _case("half_frame_at_the_end", [data, data[:6]], [good]),
    ]


def cases() -> list[dict[str, Any]]:
    """Every vector, in order."""
    return _lengths() + _damaged() + _too_long() + _noise()


def text() -> str:
    """The file's contents."""
    return "".join(json.dumps(case) + "\n" for case in cases())


if __name__ == "__main__":
    PATH.write_text(text(), encoding="utf-8")
