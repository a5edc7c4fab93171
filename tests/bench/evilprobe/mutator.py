"""Mutated sessions: an honest probe whose replies are bent on the way, with right CRCs."""

import random
import struct
import zlib
from collections.abc import Iterator

from tests.bench.evilprobe.probe import NAMES, Answer, Probe
from tests.bench.evilprobe.server import Piece, Tell
from tests.bench.evilprobe.tables import pack, size, table, unpack
from tests.bench.evilprobe.ways import CHUNK
from tests.bench.evilprobe.wire import Frame, encode

EDGES = (0, 1, 127, 128, 255, 2**15, 2**16 - 1, 2**31 - 1, 2**31, 2**32 - 2, 2**32 - 1)
SHARE_MOST = 0.4


class Mutator:
    """Bends one session's replies. share: how many of the frames, 0..1."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self._share = rng.uniform(0.01, SHARE_MOST)
        self._ways = (self._bytes, self._fields, self._fields, self._length, self._kind, self._request_id,
                      self._doubled, self._lost, self._raw, self._record)  # fmt: skip

    def tell(self, _probe: Probe, frame: Frame, honest: list[Answer]) -> Iterator[Piece]:
        """The honest replies, some of them bent."""
        for answer in honest:
            if self._rng.random() < self._share:
                yield from self._rng.choice(self._ways)(frame, answer)
            else:
                yield answer

    def _bytes(self, _frame: Frame, answer: Answer) -> list[Piece]:
        data = bytearray(answer.payload)
        for _ in range(self._rng.randint(1, 4) if data else 0):
            data[self._rng.randrange(len(data))] = self._rng.choice(
                (0, 1, 127, 128, 255, self._rng.getrandbits(8))
            )
        return [Answer(answer.kind, bytes(data))]

    def _fields(self, frame: Frame, answer: Answer) -> list[Piece]:
        rows = table(NAMES[answer.kind])
        if not rows:
            return self._bytes(frame, answer)
        row = self._rng.choice(rows)
        values = unpack(rows, answer.payload)
        wide = 2 ** (8 * struct.calcsize(row.code))
        values[row.name] = self._rng.randbytes(row.count) if row.is_bytes else self._rng.choice(EDGES) % wide
        return [Answer(answer.kind, pack(rows, values) + answer.payload[size(rows) :])]

    def _length(self, _frame: Frame, answer: Answer) -> list[Piece]:
        cut = self._rng.randrange(len(answer.payload) + 1)
        longer = answer.payload + self._rng.randbytes(self._rng.choice((1, 40, 1200)))
        return [Answer(answer.kind, self._rng.choice((answer.payload[:cut], longer)))]

    def _kind(self, _frame: Frame, answer: Answer) -> list[Piece]:
        kind = self._rng.choice((*NAMES, self._rng.getrandbits(8)))
        return [Answer(kind, answer.payload)]

    def _request_id(self, frame: Frame, answer: Answer) -> list[Piece]:
        return [encode(answer.kind, frame.request_id + self._rng.choice((-1, 1, 300)), answer.payload)]

    def _doubled(self, _frame: Frame, answer: Answer) -> list[Piece]:
        return [answer] * self._rng.choice((2, 2, 50))

    def _lost(self, _frame: Frame, _answer: Answer) -> list[Piece]:
        return []

    def _raw(self, frame: Frame, answer: Answer) -> list[Piece]:
        data = bytearray(encode(answer.kind, frame.request_id, answer.payload))
        data[self._rng.randrange(len(data))] ^= 1 << self._rng.randrange(8)
        return [self._rng.randbytes(self._rng.randrange(40)), bytes(data)]

    def _record(self, frame: Frame, answer: Answer) -> list[Piece]:
        """The record that begins a slice, changed under a right CRC of its own."""
        data = bytearray(answer.payload)
        length = struct.unpack_from("<H", data, 3)[0] if answer.kind == CHUNK and len(data) > 5 else 0
        if not 20 <= length < len(data):
            return self._bytes(frame, answer)
        data[1 + self._rng.randrange(length - 4)] = self._rng.choice((0, 255, self._rng.getrandbits(8)))
        data[length - 3 : length + 1] = struct.pack("<I", zlib.crc32(data[1 : length - 3]))
        return [Answer(answer.kind, bytes(data))]


def session(seed: int) -> Tell:
    """A session's mutator, the same for the same seed."""
    return Mutator(random.Random(seed)).tell
