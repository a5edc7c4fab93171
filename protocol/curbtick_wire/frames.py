"""Frames: COBS(kind, request id, payload, CRC-32), then one zero byte.

A zero byte stands nowhere else, so whatever went before, the next zero brings both ends back into step. The
reader never holds more than its limit: a longer run of bytes is dropped up to the next zero, and counted.
"""

import struct

from curbtick_wire import cobs
from curbtick_wire.codec import CRC_SIZE, crc32
from curbtick_wire.errors import WireError

DELIMITER = b"\0"
HEAD_SIZE = 3
# A message of fields; a probe's reader holds no more.
PAYLOAD_MAX = 512
# A slice of records on its way to the bench, with its index.
CHUNK_MAX = 1024


def wire_size(payload_size: int) -> int:
    """The most bytes a frame of this payload takes before its delimiter."""
    size = HEAD_SIZE + payload_size + CRC_SIZE
    return size + (size + cobs.RUN_MAX - 1) // cobs.RUN_MAX


def encode(kind: int, request: int, payload: bytes = b"") -> bytes:
    """One frame with its closing delimiter. kind: 1..255; request: 0..65535; payload: bytes."""
    body = struct.pack("<BH", kind, request) + payload
    return cobs.encode(body + struct.pack("<I", crc32(body))) + DELIMITER


def decode(data: bytes) -> tuple[int, int, bytes]:
    """(kind, request, payload) of one frame without its delimiter. Raises WireError("frame")."""
    body = cobs.decode(data)
    if len(body) < HEAD_SIZE + CRC_SIZE:
        raise WireError("frame", "is too short")
    if struct.unpack_from("<I", body, len(body) - CRC_SIZE)[0] != crc32(body[:-CRC_SIZE]):
        raise WireError("frame", "its CRC is wrong")
    kind, request = struct.unpack_from("<BH", body)
    return kind, request, body[HEAD_SIZE:-CRC_SIZE]


class FrameReader:
    """Takes bytes as they come, in pieces of any size, and gives whole frames.

    payload_max: largest payload in bytes it will hold. Counters: `good`, `damaged`, `too_long`.
    """

    def __init__(self, payload_max: int = PAYLOAD_MAX) -> None:
        self.good = 0
        self.damaged = 0
        self.too_long = 0
        self._payload_max = payload_max
        self._limit = wire_size(payload_max)
        self._held = bytearray()
        self._skipping = False

    def feed(self, data: bytes) -> list[tuple[int, int, bytes]]:
        """The list of (kind, request, payload) completed by these bytes, in order."""
        found: list[tuple[int, int, bytes]] = []
        start = 0
        while True:
            zero = data.find(DELIMITER, start)
            self._hold(data, start, len(data) if zero < 0 else zero)
            if zero < 0:
                return found
            self._close(found)
            start = zero + 1

    def _hold(self, data: bytes, start: int, end: int) -> None:
        if self._skipping or end == start:
            return
        if len(self._held) + end - start > self._limit:
            self._skipping = True
            self.too_long += 1
            self._held = bytearray()
        else:
            self._held.extend(data[start:end])

    def _close(self, found: list[tuple[int, int, bytes]]) -> None:
        if self._held:
            self._take(bytes(self._held), found)
            self._held = bytearray()
        self._skipping = False

    def _take(self, held: bytes, found: list[tuple[int, int, bytes]]) -> None:
        try:
            frame = decode(held)
        except WireError:
            self.damaged += 1
            return
        if len(frame[2]) > self._payload_max:
            self.too_long += 1
            return
        self.good += 1
        found.append(frame)
