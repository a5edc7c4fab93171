"""Keeps a small value in two files that are written in turn, so that a power cut at any moment leaves one whole.

A slot holds MAGIC, the generation (u32), the payload's size (u16), the payload, and CRC-32 over all of it.
`put` writes the slot that does not hold the newest value, so the newest is never touched while it is the
only one. At start both are read and checked; the whole one of the higher generation counts, and the other
is the older value.
"""

import os
import struct

from curbtick_wire import codec
from curbtick_wire._typing import Callable
from curbtick_wire.frames import PAYLOAD_MAX

from curbtick_probe.store import supply

MAGIC = b"CS"
_HEAD = "<2sIH"
_HEAD_SIZE = 8


def ensure_folder(path: str) -> None:
    """Make a folder unless it exists. Raises OSError where it cannot be made."""
    try:
        os.stat(path)
    except OSError:
        os.mkdir(path)


def seal(generation: int, payload: bytes) -> bytes:
    """A slot's bytes for a payload of at most PAYLOAD_MAX bytes."""
    body = struct.pack(_HEAD, MAGIC, generation, len(payload)) + payload
    return body + struct.pack("<I", codec.crc32(body))


def unseal(data: bytes) -> tuple[int, bytes] | None:
    """(generation, payload) of a slot's bytes, or None where they are not a whole slot."""
    if len(data) < _HEAD_SIZE + codec.CRC_SIZE:
        return None
    magic, generation, size = struct.unpack_from(_HEAD, data, 0)
    end = _HEAD_SIZE + size
    if magic != MAGIC or len(data) != end + codec.CRC_SIZE:
        return None
    if struct.unpack_from("<I", data, end)[0] != codec.crc32(data[:end]):
        return None
    return generation, data[_HEAD_SIZE:end]


class Slots:
    """One value in the two files `name.0` and `name.1` under root.

    accepts: called with a payload that is whole; a false answer makes it count as damaged.
    `damaged` counts the slot files that exist and cannot be used.
    """

    def __init__(self, root: str, name: str, accepts: Callable[[bytes], bool] | None = None) -> None:
        self._paths = [root + "/" + name + "." + place for place in "01"]
        self._accepts = accepts
        self.damaged = 0
        ensure_folder(root)
        held = [self._load(path) or (0, None) for path in self._paths]
        self._place = 1 if held[1][0] > held[0][0] else 0
        self.generation: int
        self.newest: bytes | None
        self.generation, self.newest = held[self._place]

    def _load(self, path: str) -> tuple[int, bytes] | None:
        try:
            with open(path, "rb") as file:
                slot = unseal(file.read(PAYLOAD_MAX + _HEAD_SIZE + codec.CRC_SIZE + 1))
        except OSError:
            slot = None
        if slot and (self._accepts is None or self._accepts(slot[1])):
            return slot
        self.damaged += self._exists(path)
        return None

    def _exists(self, path: str) -> int:
        try:
            os.stat(path)
        except OSError:
            return 0
        return 1

    def older(self) -> bytes | None:
        """The payload behind the newest, or None. Read from its file each time."""
        damaged = self.damaged
        slot = self._load(self._paths[1 - self._place])
        self.damaged = damaged
        return slot[1] if slot else None

    def put(self, payload: bytes) -> None:
        """Make payload the newest value; durable on return.

        Raises OSError, the newest then being as it was, and ValueError for more than PAYLOAD_MAX bytes.
        """
        if len(payload) > PAYLOAD_MAX:
            raise ValueError("a slot holds at most " + str(PAYLOAD_MAX) + " bytes")
        if not supply.is_enough():
            raise OSError("the supply is too low to write")
        image = seal(self.generation + 1, payload)
        path = self._paths[1 - self._place]
        with open(path, "wb") as file:
            file.write(image)
        with open(path, "rb") as file:
            if file.read() != image:
                raise OSError("the slot does not read back as written")
        self._place = 1 - self._place
        self.generation += 1
        self.newest = bytes(payload)
