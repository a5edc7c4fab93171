"""The firmware's link and the bench's client in one process, with a wire between them that loses what it is told to."""

import hashlib
from collections.abc import Callable

from curbtick_probe.link.link import Link as ProbeLink
from curbtick_probe.link.link import Probe
from curbtick_wire import codec, messages, records

ID = b"loopwire"
LOG_ID = 77


def event(seq: int) -> bytes:
    """A short record."""
    return codec.encode_record(records.EVENT, header(seq), {"event": 0, "value": seq, "extra": 0})


def snippet(seq: int, size: int) -> bytes:
    """A record with size bytes of tail."""
    values = {
        "reading_seq": 1,
        "rate_hz": 250000,
        "start_us": 0,
        "shift": 0,
        "sample_count": 0,
        "envelope_step_us": 0,
        "envelope_count": 0,
    }
    return codec.encode_record(records.SNIPPET, header(seq), values, bytes([seq % 256]) * size)


def header(seq: int) -> dict[str, int]:
    return {"seq": seq, "boot": 1, "ticks_ms": seq}


class MemoryLog:
    """The part of a log that the link needs, over a dict of raw records."""

    log_id = LOG_ID

    def __init__(self, held: dict[int, bytes]) -> None:
        self.held = held
        self.acknowledged = 0
        self.dropped = 0
        self.events: list[tuple[int, int, int]] = []

    @property
    def first_seq(self) -> int:
        return min(self.held, default=0)

    @property
    def last_seq(self) -> int:
        return max(self.held, default=0)

    def held_from(self, seq: int) -> int:
        return min((held for held in self.held if held >= seq), default=0)

    def read(self, seq: int) -> bytes | None:
        return self.held.get(seq)

    def event(self, event: int, value: int = 0, extra: int = 0) -> int:
        self.events.append((event, value, extra))
        return 0

    def free_bytes(self) -> int:
        return 0

    def digest(self, first: int, last: int) -> bytes:
        raws = [self.held[seq] for seq in sorted(self.held) if first <= seq <= last]
        return messages.log_digest(self.log_id, hashlib.sha256(b"".join(raws)).digest())

    def acknowledge(self, seq: int, digest: bytes, first: int = 0) -> bool:
        if self.digest(first or self.acknowledged + 1, seq) != digest:
            return False
        self.acknowledged = seq
        return True


class Identity:
    unique_id = ID
    firmware = "0.1.0"
    capabilities = 1

    def battery_mv(self) -> int:
        return 4000


class Clock:
    boot = 1

    def ticks_ms(self) -> int:
        return 5


class NoKeys:
    def rows(self) -> list[object]:
        return []

    def secret(self, _key_id: int) -> None:
        return None


class Limits:
    revision = 1


class NoCalibration:
    revision = 0


class Rounds:
    current = None


class ProbeSide:
    """The probe's serial. loses: called with the number of each frame from the probe; True loses it."""

    def __init__(self, loses: Callable[[int], bool]) -> None:
        self._loses = loses
        self._count = 0
        self.coming = b""
        self.going = bytearray()

    def read_into(self, buffer: bytearray) -> int:
        data = self.coming[: len(buffer)]
        self.coming = self.coming[len(data) :]
        buffer[: len(data)] = data
        return len(data)

    def write(self, data: bytes) -> int:
        self._count += 1
        if not self._loses(self._count):
            self.going += data
        return len(data)


class LoopWire:
    """A wire whose other end is a probe with this log. A wait costs no time: nothing comes later than at once."""

    def __init__(self, log: MemoryLog, loses: Callable[[int], bool] = lambda number: False) -> None:
        self._serial = ProbeSide(loses)
        self._link = ProbeLink(
            self._serial, Probe(log, Limits(), Rounds(), Clock(), NoKeys(), NoCalibration(), Identity())
        )

    def write(self, data: bytes) -> None:
        self._serial.coming += data

    def read(self, timeout_s: float) -> bytes:
        while self._link.poll() or self._serial.coming:
            pass
        data = bytes(self._serial.going)
        self._serial.going = bytearray()
        return data

    def close(self) -> None:
        pass
