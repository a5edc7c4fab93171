"""The ways to answer otherwise than the truth.

A lie is told without the pairing key unless it says that it knows it: then the probe itself has gone mad, and the bench
may believe it, but may not hang, fall over or lose another record.
"""

import itertools
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from tests.bench.evilprobe.probe import ERROR, ERRORS, LOG_ID, NAMES, Answer, Probe, reading
from tests.bench.evilprobe.server import Piece, Tell
from tests.bench.evilprobe.tables import NUMBERS, pack, size, table, unpack
from tests.bench.evilprobe.wire import Frame, encode

TOP = 2**32 - 1
READING_BYTES = 86
CHUNK, END = NUMBERS["read_chunk"], NUMBERS["read_end"]
Pieces = Iterable[Piece]


class Lie(NamedTuple):
    """A lie: its name, how it is told, the command that meets it, whether it knows the key, what the log holds."""

    name: str
    tell: Tell
    command: tuple[str, ...] = ("pull",)
    knows_key: bool = False
    fill: Callable[[Probe], object] = lambda probe: None


def on(name: str, said: Callable[[Probe, Frame, list[Answer]], Pieces]) -> Tell:
    """Say something else to one request, and the truth to all others."""

    def tell(probe: Probe, frame: Frame, honest: list[Answer]) -> Pieces:
        return said(probe, frame, honest) if NAMES.get(frame.kind) == name else honest

    return tell


def fields(request: str, **values: Any) -> Tell:
    """The honest reply with other values in its last frame."""

    def said(_probe: Probe, _frame: Frame, honest: list[Answer]) -> Pieces:
        last = honest[-1]
        rows = table(NAMES[last.kind])
        if last.kind == ERROR:
            return honest
        changed = pack(rows, {**unpack(rows, last.payload), **values}) + last.payload[size(rows) :]
        return [*honest[:-1], Answer(last.kind, changed)]

    return on(request, said)


def error(request: str, word: str | int, value: int = 0, words: bytes = b"") -> Tell:
    """An error instead of a reply."""

    def said(_probe: Probe, frame: Frame, _honest: list[Answer]) -> Pieces:
        code = word if isinstance(word, int) else ERRORS[word]
        values = {"request_kind": frame.kind, "code": code, "value": value}
        return [Answer(ERROR, pack(table("error"), values) + words)]

    return on(request, said)


def forever(request: str, make: Callable[[Frame, int], Piece]) -> Tell:
    """Pieces without end instead of a reply."""
    return on(request, lambda _probe, frame, _honest: (make(frame, n) for n in itertools.count()))


def instead(request: str, *pieces: Piece) -> Tell:
    """Fixed pieces instead of a reply."""
    return on(request, lambda _probe, _frame, _honest: pieces)


def end(chunks: int, ended: int, last_seq: int = 20, log_id: int | None = None) -> Answer:
    """A read_end."""
    values = {"chunks": chunks, "ended": ended, "last_seq": last_seq}
    return Answer(END, pack(table("read_end"), {**values, "log_id": LOG_ID if log_id is None else log_id}))


def made_up(seq: int) -> bytes:
    """A record of an endless log."""
    return reading(seq, level_cdb=-5000, verdict=3)


def served(make: Callable[[int], bytes], last_seq: int = TOP - 1, growing: bool = False) -> Tell:
    """Read from records that are made on demand: an endless log, or numbers that do not rise."""

    def said(probe: Probe, frame: Frame, _honest: list[Answer]) -> Pieces:
        asked = unpack(table("read"), frame.payload)
        step = asked["chunk"]
        highest = max((n for n in range(128) if asked["wanted"][n // 8] >> n % 8 & 1), default=0)
        count = (asked["from_byte"] + (highest + 1) * step) // READING_BYTES + 2
        seqs = range(asked["from_seq"], min(asked["until_seq"], asked["from_seq"] + count) + 1)
        data = b"".join(make(seq) for seq in seqs)[asked["from_byte"] : asked["from_byte"] + 128 * step]
        total = -(-len(data) // step)
        sent = [n for n in range(total) if asked["wanted"][n // 8] >> n % 8 & 1]
        yield from (Answer(CHUNK, bytes([n]) + data[n * step : (n + 1) * step]) for n in sent)
        yield end(total, 0, asked["until_seq"] + 1000 if growing else last_seq)

    return both(fields("greet", last_seq=last_seq), on("read", said))


def both(first: Tell, second: Tell) -> Tell:
    """Two lies, each about its own request."""

    def tell(probe: Probe, frame: Frame, honest: list[Answer]) -> Pieces:
        said = list(honest)
        changed = first(probe, frame, said)
        return second(probe, frame, said) if changed is said else changed

    return tell


def spoiled(raw: bytes, **changes: int) -> bytes:
    """A record whose header says otherwise, with a right CRC."""
    rows = table("Header")
    body = pack(rows, {**unpack(rows, raw), **changes}) + raw[size(rows) : -4]
    return body + struct.pack("<I", zlib.crc32(body))


def drip(_probe: Probe, frame: Frame, honest: list[Answer]) -> Iterator[Piece]:
    """An honest answer, a byte at a time, and never its end."""
    data = b"".join(encode(answer.kind, frame.request_id, answer.payload) for answer in honest)
    for place in itertools.count():
        yield data[place : place + 1] if place < len(data) - 1 else b"\x01"
        yield from (None,) * 6


def slow_slices(_probe: Probe, _frame: Frame, honest: list[Answer]) -> Iterator[Piece]:
    """Slice 0 again and again, one each second, so that something always comes."""
    while True:
        yield honest[0]
        yield from (None,) * 20


def filled(*makers: Callable[[int], bytes]) -> Callable[[Probe], object]:
    """A log with records of these makers behind the honest ones."""
    return lambda probe: [probe.add(make) for make in makers]


def forged(probe: Probe) -> None:
    """Other contents under the numbers of the true log."""
    for seq in [*probe.records][5:]:
        probe.records[seq] = reading(seq, level_cdb=-100)


def numbers_jump(probe: Probe) -> None:
    """A record of the highest number that there is."""
    probe.records[TOP - 1] = reading(TOP - 1)


TEXTS = (b"AT+CGMI\r\n", b"\r\n>>> ", b"Traceback (most recent call last):\r\n", b"\x1b[2J\x1b]0;x\x07\r\n")
ANOTHER = NUMBERS["stats_reply"]


def truth_of(_probe: Probe, _frame: Frame, honest: list[Answer]) -> Pieces:
    """The truth about a log that is itself a lie."""
    return honest
