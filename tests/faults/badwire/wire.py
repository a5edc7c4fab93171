"""A wire between bench and probe that damages what it carries, byte by byte, seeded."""

import os
import random
import select
import threading
import time
from collections.abc import Callable

from tests.pair.link.harness import Pty

TEXTS = (
    b"AT+CGMI\r",
    b"ATE1 E0\r",
    b"\r\n>>> ",
    b'Traceback (most recent call last):\r\n  File "main.py", line 9, in <module>\r\nOSError: [Errno 5] EIO\r\n',
)
_STALL_MAX_S = 0.04
_PIECE = 4096


class Damage:
    """What happens to bytes on their way: every some hundred bytes something does.

    generator: the only source of chance; mean_gap_bytes: mean distance of two faults.
    """

    def __init__(self, generator: random.Random, mean_gap_bytes: int) -> None:
        self._random = generator
        self._mean = mean_gap_bytes
        self._left = self._gap()
        self._held = b""
        self.counts: dict[str, int] = {}
        self._ways: dict[str, Callable[[bytes], list[bytes]]] = {
            "drop": self._drop,
            "flip": self._flip,
            "duplicate": self._duplicate,
            "insert": self._insert,
            "text": self._text,
            "split": self._split,
            "merge": self._merge,
            "stall": self._stall,
            "lose_all": self._lose_all,
        }

    def _gap(self) -> int:
        return 1 + int(self._random.expovariate(1 / self._mean))

    def apply(self, data: bytes) -> list[bytes]:
        """The pieces in which data goes on, possibly none, possibly with what was held back before."""
        data, self._held = self._held + data, b""
        pieces: list[bytes] = []
        while len(data) >= self._left:
            pieces.append(data[: self._left])
            data = data[self._left :]
            self._left = self._gap()
            name = self._random.choice(list(self._ways))
            self.counts[name] = self.counts.get(name, 0) + 1
            *out, data = self._ways[name](data)
            pieces += out
        self._left -= len(data)
        return [*pieces, data]

    def _some(self, most: int) -> int:
        return 1 + self._random.randrange(most)

    def _drop(self, data: bytes) -> list[bytes]:
        return [data[self._some(40) :]]

    def _flip(self, data: bytes) -> list[bytes]:
        return [bytes(byte ^ 1 << self._random.randrange(8) for byte in data[:1]) + data[1:]]

    def _duplicate(self, data: bytes) -> list[bytes]:
        return [data[: self._some(60)], data]

    def _insert(self, data: bytes) -> list[bytes]:
        return [self._random.randbytes(self._some(60)), data]

    def _text(self, data: bytes) -> list[bytes]:
        return [self._random.choice(TEXTS), data]

    def _split(self, data: bytes) -> list[bytes]:
        at = self._some(20)
        return [data[:at], b"", data[at:]]

    def _merge(self, data: bytes) -> list[bytes]:
        self._held = data
        return [b""]

    def _stall(self, data: bytes) -> list[bytes]:
        time.sleep(self._random.random() * _STALL_MAX_S)
        return [data]

    def _lose_all(self, _data: bytes) -> list[bytes]:
        return [b""]


class _Direction(threading.Thread):
    """Carries bytes one way, through `damage` while there is one."""

    def __init__(self, source: int, sink: int) -> None:
        super().__init__(daemon=True)
        self._source, self._sink = source, sink
        self._ended = threading.Event()
        self.damage: Damage | None = None
        self.unplugged = False

    def run(self) -> None:
        while not self._ended.is_set():
            if not select.select([self._source], [], [], 0.05)[0]:
                continue
            data = os.read(self._source, _PIECE)
            if self.unplugged:
                continue
            damage = self.damage
            for piece in damage.apply(data) if damage else [data]:
                if piece:
                    os.write(self._sink, piece)
                    time.sleep(0)

    def end(self) -> None:
        self._ended.set()
        self.join()


class BadWire:
    """Two ptys and the wire between them. `bench.path` is what a bench opens, `probe.slave` is the probe's."""

    def __init__(self) -> None:
        self.bench, self.probe = Pty(), Pty()
        self._to_probe = _Direction(self.bench.master, self.probe.master)
        self._to_bench = _Direction(self.probe.master, self.bench.master)
        self._both = (self._to_probe, self._to_bench)
        for direction in self._both:
            direction.start()

    def damage(self, seed: int, mean_gap_bytes: int) -> None:
        """Damage what is carried from now on."""
        for place, direction in enumerate(self._both):
            direction.damage = Damage(random.Random(2 * seed + place), mean_gap_bytes)

    def mend(self) -> dict[str, int]:
        """Carry everything whole again: how often each kind of damage was done."""
        done: dict[str, int] = {}
        for direction in self._both:
            for name, count in (direction.damage.counts if direction.damage else {}).items():
                done[name] = done.get(name, 0) + count
            direction.damage = None
            direction.unplugged = False
        return done

    def unplug(self) -> None:
        """Lose everything both ways until mended."""
        for direction in self._both:
            direction.unplugged = True

    def close(self) -> None:
        """Stop carrying and give the ptys back."""
        for direction in self._both:
            direction.end()
        self.bench.close()
        self.probe.close()
