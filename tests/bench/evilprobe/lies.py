"""The scripted lies, each a way to answer otherwise than the truth.

A lie is told without the pairing key unless it says that it knows it: then the probe itself has gone mad, and the bench
may believe it, but may not hang, fall over or lose another record.
"""

import itertools
import os
import struct
import zlib
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from tests.bench.evilprobe.probe import ERROR, ERRORS, NAMES, Answer, Probe, reading, record
from tests.bench.evilprobe.server import Piece, Tell
from tests.bench.evilprobe.tables import KINDS, NUMBERS, pack, record_table, size, table, unpack
from tests.bench.evilprobe.wire import REPLY, Frame, encode

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
    from tests.bench.evilprobe.probe import LOG_ID

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


def of_greetings() -> list[Lie]:
    """What can be said to `greet`."""
    values: dict[str, dict[str, Any]] = {
        "versions above": {"oldest_version": 255, "newest_version": 255},
        "versions turned round": {"oldest_version": 9, "newest_version": 1},
        "another definition": {"definition": b"\xff" * 8},
        "log id 0": {"log_id": 0},
        "another id": {"unique_id": bytes(8)},
        "escapes in the firmware's name": {"firmware": b"\x1b[2J\x00\xff\n<b>"},
        "first above last": {"first_seq": 4_000_000_000},
        "acknowledged all": {"acknowledged_seq": TOP},
        "last number 2**32-1": {"last_seq": TOP},
        "last number 2**32-1, acknowledged": {"last_seq": TOP, "acknowledged_seq": TOP},
        "boot 2**32-1": {"boot": TOP, "ticks_ms": TOP},
        "pairing 7": {"pairing": 7, "oldest_version": 0},
        "everything it can": {"capabilities": TOP, "limits_revision": TOP, "round_id": TOP, "calibration_revision": 65535},
    }  # fmt: skip
    said = [Lie(f"greet: {name}", fields("greet", **changes)) for name, changes in values.items()]
    moving = on(
        "greet",
        lambda probe, frame, honest: [Answer(a.kind, os.urandom(22) + a.payload[22:]) for a in honest],
    )
    return [
        *said,
        Lie("greet: another probe each time", moving),
        Lie("greet: silence", instead("greet")),
        Lie("greet: empty", instead("greet", Answer(129, b""))),
        Lie("greet: half", instead("greet", Answer(129, bytes(40)))),
        Lie(
            "greet: longer than it is",
            on("greet", lambda p, f, honest: [Answer(129, honest[0].payload + bytes(900))]),
        ),
        Lie(
            "greet: frames of another kind without end",
            forever("greet", lambda f, n: Answer(ANOTHER, bytes(56))),
        ),
        Lie(
            "greet: stale frames without end",
            forever("greet", lambda f, n: encode(129, f.request_id - 1, bytes(87))),
        ),
        Lie("greet: an unknown error", error("greet", 200, TOP, b"\x1b[31mred\n\xff")),
        Lie("greet: failed", error("greet", "failed")),
    ]


SLICE_LIES: dict[str, Tell] = {
    "frames of another kind without end": forever("read", lambda f, n: Answer(ANOTHER, bytes(56))),
    "errors about another request without end": forever("read", lambda f, n: Answer(ERROR, bytes(6))),
    "stale frames without end": forever("read", lambda f, n: encode(CHUNK, f.request_id + 1, bytes(99))),
    "one slice without end": forever("read", lambda f, n: Answer(CHUNK, bytes(99))),
    "slices in a circle without end": forever("read", lambda f, n: Answer(CHUNK, bytes([n % 128]) + bytes(99))),
    "slices without bytes, without end": forever("read", lambda f, n: Answer(CHUNK, bytes([n % 128]))),
    "ended, 1 slice, and none sent": instead("read", end(1, 1)),
    "ended, 128 slices, and none sent": instead("read", end(128, 1)),
    "not ended, 0 slices": instead("read", end(0, 0)),
    "not ended, 128 slices, and none sent": instead("read", end(128, 0)),
    "ended, 0 slices": instead("read", end(0, 1)),
    "200 slices": instead("read", end(200, 7)),
    "last number 2**32-1 at the end": fields("read", last_seq=TOP),
    "last number 0 at the end": fields("read", last_seq=0),
    "another log at the end": fields("read", log_id=77),
    "log id 0 at the end": fields("read", log_id=0),
    "an empty end": instead("read", Answer(END, b"")),
    "slice 200": instead("read", Answer(CHUNK, bytes([200]) + bytes(99)), end(1, 1)),
    "slices of other sizes": on("read", lambda p, f, h: [Answer(a.kind, a.payload + b"\0" * 9) for a in h]),
    "slices cut short": on("read", lambda p, f, h: [Answer(a.kind, a.payload[:-3]) for a in h]),
    "slices of zeros": on("read", lambda p, f, h: [Answer(CHUNK, bytes([0]) + bytes(1024)), h[-1]]),
    "slices of noise": on("read", lambda p, f, h: [Answer(CHUNK, bytes([0]) + os.urandom(900)), h[-1]]),
    "silence": instead("read"),
    "text": forever("read", lambda f, n: TEXTS[n % len(TEXTS)]),
    "noise without end": forever("read", lambda f, n: os.urandom(300)),
    "zeros without end": forever("read", lambda f, n: bytes(300)),
    "bytes without a zero, without end": forever("read", lambda f, n: b"\x55" * 300),
    "an answer that drips": on("read", drip),
    "the first slice each second": on("read", slow_slices),
    "twice": on("read", lambda p, f, h: h * 2),
}  # fmt: skip
"""What can be said to `read`."""


def of_slices() -> list[Lie]:
    """What can be said to `read`, and every refusal."""
    refusals = {f"error {word}": error("read", word, TOP, b"\x1b") for word in ERRORS}
    return [Lie(f"read: {name}", tell) for name, tell in {**SLICE_LIES, **refusals}.items()]


LOG_LIES: dict[str, Tell] = {
    "an endless log": served(made_up),
    "a log that grows as it is read": served(made_up, 2000, growing=True),
    "the same record without end": served(lambda seq: reading(7)),
    "numbers that fall": served(lambda seq: reading(max(1, 5000 - seq))),
    "wrong CRCs without end": served(lambda seq: reading(seq)[:-1] + b"\0"),
    "sizes of 0": served(lambda seq: spoiled(reading(seq), size=0)),
    "sizes of 65535": served(lambda seq: spoiled(reading(seq), size=65535)),
    "sizes of 19": served(lambda seq: spoiled(reading(seq), size=19)),
    "records beyond what was asked": served(lambda seq: reading(seq + 9000)),
    "records of unknown kinds without end": served(lambda seq: record(200, seq, bytes(700), layout=9)),
}
"""Logs that no probe has."""


def of_records() -> list[Lie]:
    """Logs that no probe has, told without the key."""
    contents = {"forged readings": forged, "a number of 2**32-2": numbers_jump}
    filled_logs = [Lie(f"log: {name}", truth_of, fill=fill) for name, fill in contents.items()]
    return [*(Lie(f"log: {name}", tell) for name, tell in LOG_LIES.items()), *filled_logs]


def truth_of(_probe: Probe, _frame: Frame, honest: list[Answer]) -> Pieces:
    """The truth about a log that is itself a lie."""
    return honest


def of_keys() -> list[Lie]:
    """What can be said to `prove`, to signed requests, and while pairing."""
    proofs = {
        "counter 2**32-1, made-up tag": instead("prove", Answer(137, struct.pack("<I", TOP) + bytes(32))),
        "half a proof": instead("prove", Answer(137, bytes(9))),
        "silence": instead("prove"),
        "proofs of another kind without end": forever("prove", lambda f, n: Answer(ANOTHER, bytes(56))),
        "not greeted, for ever": error("prove", "not_greeted"),
        "unknown request": error("prove", "unknown_request"),
        "not held": error("prove", "not_held", TOP),
    }
    said = [Lie(f"prove: {name}", tell) for name, tell in proofs.items()]
    mad = [
        Lie(f"{name}: {word}, {value}", error(name, word, value), knows_key=True)
        for name in ("acknowledge", "anchor")
        for word, value in (("replayed", TOP), ("bad_tag", 0), ("not_greeted", 0), ("digest_differs", TOP))
    ]
    more = [
        Lie("acknowledge: all", fields("acknowledge", acknowledged_seq=TOP), knows_key=True),
        Lie("acknowledge: silence", instead("acknowledge"), knows_key=True),
        Lie("prove: a wrong tag for the records alone", on("prove", only_key), knows_key=True),
        Lie("prove: counter 2**32-1 and the key", fields("prove", counter=TOP), knows_key=True),
        Lie("self-test: replayed, 2**32-1", error("self_test", "replayed", TOP), ("probes", "self-test")),
        Lie("self-test: of another kind without end", forever("self_test", lambda f, n: Answer(ANOTHER, bytes(56))), ("probes", "self-test")),
        Lie("limits: replayed, 2**32-1", error("limits_put", "replayed", TOP), ("limits", "send", "1", "--yes")),
        Lie("pair: key 0", instead("pair", Answer(160, b"\0")), ("probes", "pair")),
        Lie("pair: an empty reply", instead("pair", Answer(160, b"")), ("probes", "pair")),
        Lie("pair: of another kind without end", forever("pair", lambda f, n: Answer(ANOTHER, bytes(56))), ("probes", "pair")),
        Lie("keys: 8 rows and none sent", instead("keys", Answer(135, b"\x08")), ("probes", "keys")),
        Lie("keys: a name of escapes", instead("keys", Answer(135, b"\x01\x01" + bytes(4) + b"\x1b[2J" + bytes(11))), ("probes", "keys")),
    ]  # fmt: skip
    return [*said, *mad, *more]


def only_key(probe: Probe, frame: Frame, honest: list[Answer]) -> Pieces:
    """A right proof of the key, and a wrong one of the records."""
    asked = unpack(table("prove"), frame.payload)
    return honest if asked["last_seq"] < asked["first_seq"] else [Answer(137, bytes(36))]


def of_settings() -> list[Lie]:
    """What can be said to the requests that fetch settings, clock and counters."""
    replies = {"limits_get": (b"", bytes(17), b"\xff" * 17, b"\xff" * 475), "round_get": (b"", b"\xff" * 305),
               "calibration_get": (b"", b"\xff" * 150), "ticks": (b"", b"\xff" * 8), "stats": (b"", b"\xff" * 56)}  # fmt: skip
    said = [
        Lie(f"{name}: {len(data)} bytes of {data[:1].hex() or 'nothing'}", instead(name, Answer(NUMBERS[name] + REPLY, data)))
        for name, tails in replies.items()
        for data in tails
    ]  # fmt: skip
    endless = [
        Lie(
            f"{name}: of another kind without end",
            forever(name, lambda f, n: Answer(ANOTHER + 1, bytes(56))),
            command,
        )
        for name, command in (
            ("ticks", ("pull",)),
            ("limits_get", ("pull",)),
            ("calibration_get", ("pull",)),
            ("stats", ("probes", "--stats")),
        )
    ]
    return [*said, *endless]


def of_values() -> list[Lie]:
    """Records with right CRCs and a right proof, whose values no probe writes."""
    return [
        Lie(f"record: {name}", truth_of, knows_key=True, fill=filled(*makers))
        for name, makers in records_out_of_range().items()
    ]


def records_out_of_range() -> dict[str, list[Callable[[int], bytes]]]:
    """For each record kind, a record for each value outside each field's range, and tails that lie."""
    from tests.bench.evilprobe.tables import out_of_range

    makers: dict[str, list[Callable[[int], bytes]]] = {}
    for name in KINDS:
        for row in record_table(name):
            for value in out_of_range(row):
                makers.setdefault(name, []).append(with_value(name, row.name, value))
    return {**makers, "tails": tails(), "kinds and layouts not known": unknown()}


def with_value(kind: str, field: str, value: int) -> Callable[[int], bytes]:
    """A record's maker: one field has this value."""
    return lambda seq: record(KINDS[kind], seq, pack(record_table(kind), {field: value}))


def tails() -> list[Callable[[int], bytes]]:
    """Snippets shorter and longer than their counts, sounds that are not there, a crash in no ASCII."""
    shapes = [
        ("snippet", {"reading_seq": 2, "rate_hz": 250_000, "sample_count": 512, "envelope_count": 200}, b"\x01" * 5),
        ("snippet", {"reading_seq": 2, "rate_hz": 1, "sample_count": 0}, b"\x01" * 500),
        ("snippet", {"reading_seq": TOP, "rate_hz": 1_000_000, "sample_count": 4, "start_us": 4_000_000}, b"\x80" * 4),
        ("snippet", {"reading_seq": 1, "rate_hz": 250_000, "sample_count": 4, "envelope_step_us": 0, "envelope_count": 4}, b"\xff" * 8),
        ("sounds", {"reading_seq": 2, "count": 80}, b""),
        ("sounds", {"reading_seq": 2, "count": 1, "first": 65535}, b"\xff" * 9),
        ("crash", {"cause": 255}, b"\x1b[2J\xff<script>"),
        ("reading", {"position": 1}, b"more than it should have"),
    ]  # fmt: skip
    return [
        lambda seq, shape=shape: record(
            KINDS[shape[0]], seq, pack(record_table(shape[0]), shape[1]) + shape[2]
        )  # type: ignore[misc]
        for shape in shapes
    ]


def unknown() -> list[Callable[[int], bytes]]:
    """Kinds and layouts of another age, and a known kind that is too short."""
    return [
        lambda seq: record(200, seq, bytes(30), layout=9),
        lambda seq: record(KINDS["reading"], seq, bytes(66), layout=2),
        lambda seq: record(KINDS["reading"], seq, b""),
        lambda seq: record(KINDS["bumper"], seq, bytes(3)),
    ]


def all_lies() -> list[Lie]:
    """Every lie."""
    return [*of_greetings(), *of_slices(), *of_records(), *of_keys(), *of_settings(), *of_values()]
