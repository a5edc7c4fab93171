"""A serial line between two ptys: its byte rate kept in real time, its bits flipped at a given rate, seeded."""

import os
import select
import threading
import time
from dataclasses import dataclass

import numpy as np

from tests.pair.link.harness import Pty

BAUD = 115_200
BYTE_RATE_HZ = BAUD / 10
_PIECE = 32
# How far a late wake-up of this program may be made up for when the sender had bytes waiting all along.
_CATCH_UP_S = 1.0


@dataclass(frozen=True)
class Carried:
    """A piece as it was sent. end_s: time.monotonic() at which its last bit left the line."""

    data: bytes
    end_s: float


class Direction(threading.Thread):
    """Carries bytes one way. bit_error_rate: chance of each bit to be flipped."""

    def __init__(self, source: int, sink: int, bit_error_rate: float, seed: int) -> None:
        super().__init__(daemon=True)
        self._source = source
        self._sink = sink
        self._random = np.random.default_rng(seed)
        self._rate = bit_error_rate
        self._to_next_error = self._gap()
        self._free_s = 0.0
        self.carried: list[Carried] = []
        self.flipped = 0
        self.ended = threading.Event()

    def run(self) -> None:
        """Carry until told to end."""
        while not self.ended.is_set():
            waiting = bool(select.select([self._source], [], [], 0)[0])
            if not waiting and not select.select([self._source], [], [], 0.05)[0]:
                continue
            self._carry(os.read(self._source, _PIECE), waiting)

    def _carry(self, data: bytes, waiting: bool) -> None:
        now_s = time.monotonic()
        behind = waiting and now_s - self._free_s < _CATCH_UP_S
        start_s = self._free_s if behind else max(now_s, self._free_s)
        self._free_s = start_s + len(data) / BYTE_RATE_HZ
        time.sleep(max(0.0, self._free_s - time.monotonic()))
        self.carried.append(Carried(data, self._free_s))
        os.write(self._sink, self._damaged(data))

    def _gap(self) -> int:
        """Bits to the next one that is flipped."""
        return int(self._random.geometric(self._rate)) if self._rate else 1 << 62

    def _damaged(self, data: bytes) -> bytes:
        out = bytearray(data)
        bits = 8 * len(data)
        while self._to_next_error <= bits:
            place = self._to_next_error - 1
            out[place // 8] ^= 1 << place % 8
            self.flipped += 1
            self._to_next_error += self._gap()
        self._to_next_error -= bits
        return bytes(out)

    def end_s(self, mark: bytes, last: bool = False) -> float | None:
        """When the first (or last) sight of mark in what was sent had left the line, or None."""
        sent = b"".join(piece.data for piece in self.carried)
        at = sent.rfind(mark) if last else sent.find(mark)
        if at < 0:
            return None
        upto = at + len(mark)
        for piece in self.carried:
            upto -= len(piece.data)
            if upto <= 0:
                return piece.end_s
        return None


class PacedWire:
    """Two ptys with a line between them: `bench` and `probe` are the ends to be opened."""

    def __init__(self, bit_error_rate: float, seed: int) -> None:
        self.bench = Pty()
        self.probe = Pty()
        self.to_probe = Direction(self.bench.master, self.probe.master, bit_error_rate, 2 * seed)
        self.to_bench = Direction(self.probe.master, self.bench.master, bit_error_rate, 2 * seed + 1)
        self.to_probe.start()
        self.to_bench.start()

    def close(self) -> None:
        """Stop carrying and give the ptys back."""
        for direction in (self.to_probe, self.to_bench):
            direction.ended.set()
        for direction in (self.to_probe, self.to_bench):
            direction.join()
        self.bench.close()
        self.probe.close()
