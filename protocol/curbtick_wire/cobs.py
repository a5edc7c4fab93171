"""Consistent Overhead Byte Stuffing (Cheshire & Baker 1999): bytes without a zero, and back.

Searches and copies run in C (`bytes.find` and slices), so that a probe encodes a frame in tens of operations.
"""

from curbtick_wire.errors import WireError

RUN_MAX = 254


def encode(data: bytes) -> bytes:
    """data (bytes, any length) without zeros; at least 1 and at most ceil(n / 254) bytes longer."""
    out = bytearray()
    start, size = 0, len(data)
    while True:
        zero = data.find(b"\0", start)
        end = size if zero < 0 else zero
        while end - start > RUN_MAX or (end - start == RUN_MAX and end < size):
            out.append(255)
            out.extend(data[start : start + RUN_MAX])
            start += RUN_MAX
        out.append(end - start + 1)
        out.extend(data[start:end])
        if zero < 0:
            return bytes(out)
        start = end + 1


def decode(data: bytes) -> bytes:
    """The bytes that `encode` was given. Raises WireError("frame") for what it cannot have made."""
    out = bytearray()
    start, size = 0, len(data)
    if not size or data.find(b"\0") >= 0:
        raise WireError("frame", "is empty or holds a zero")
    while start < size:
        code = data[start]
        end = start + code
        if end > size:
            raise WireError("frame", "ends inside a run")
        out.extend(data[start + 1 : end])
        if code <= RUN_MAX and end < size:
            out.append(0)
        start = end
    return bytes(out)
