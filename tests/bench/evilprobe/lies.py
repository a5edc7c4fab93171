"""The scripted lies, by the request that they answer."""

import os
import struct
from typing import Any

from tests.bench.evilprobe.probe import ERROR, ERRORS, Answer, Probe, reading, record
from tests.bench.evilprobe.server import Piece, Tell
from tests.bench.evilprobe.tables import NUMBERS, table, unpack
from tests.bench.evilprobe.values import of_values
from tests.bench.evilprobe.ways import (
    ANOTHER,
    CHUNK,
    TEXTS,
    TOP,
    Lie,
    Pieces,
    drip,
    end,
    error,
    fields,
    forever,
    forged,
    instead,
    made_up,
    numbers_jump,
    on,
    served,
    slow_slices,
    spoiled,
    truth_of,
)
from tests.bench.evilprobe.wire import REPLY, Frame, encode


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
        "everything it can": {"capabilities": TOP, "limits_revision": TOP, "round_id": TOP},
        "revisions without end": {"limits_revision": TOP, "calibration_revision": 65535},
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
    "an empty end": instead("read", Answer(NUMBERS["read_end"], b"")),
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


ESCAPING_KEY = b"\x01\x01" + bytes(4) + b"\x1b[2J" + bytes(11)
"""A keys_reply of one row, whose name is an escape of a terminal."""


def another(_frame: Frame, _number: int) -> Piece:
    """A frame of the right id and another kind."""
    return Answer(ANOTHER, bytes(56))


def an_end(_frame: Frame, _number: int) -> Piece:
    """An end of slices where none is due."""
    return end(0, 0)


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
        Lie("self-test: of another kind without end", forever("self_test", another), ("probes", "self-test")),
        Lie("limits: replayed, 2**32-1", error("limits_put", "replayed", TOP), ("limits", "send", "1", "--yes")),
        Lie("pair: key 0", instead("pair", Answer(160, b"\0")), ("probes", "pair")),
        Lie("pair: an empty reply", instead("pair", Answer(160, b"")), ("probes", "pair")),
        Lie("pair: of another kind without end", forever("pair", another), ("probes", "pair")),
        Lie("keys: 8 rows and none sent", instead("keys", Answer(135, b"\x08")), ("probes", "keys")),
        Lie("keys: a name of escapes", instead("keys", Answer(135, ESCAPING_KEY)), ("probes", "keys")),
    ]  # fmt: skip
    return [*said, *mad, *more]


def only_key(probe: Probe, frame: Frame, honest: list[Answer]) -> Pieces:
    """A right proof of the key, and a wrong one of the records."""
    asked = unpack(table("prove"), frame.payload)
    return honest if asked["last_seq"] < asked["first_seq"] else [Answer(137, bytes(36))]


def of_settings() -> list[Lie]:
    """What can be said to the requests that fetch settings, clock and counters."""
    replies = {"limits_get": (b"", bytes(17), b"\xff" * 17, b"\xff" * 475), "round_get": (b"", b"\xff" * 9),
               "calibration_get": (b"", b"\xff" * 150), "ticks": (b"", b"\xff" * 8),
               "stats": (b"", b"\xff" * 56)}  # fmt: skip
    said = [
        Lie(f"{name}: {len(data)} bytes {data[:1].hex()}", instead(name, Answer(NUMBERS[name] + REPLY, data)))
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


def all_lies() -> list[Lie]:
    """Every lie."""
    return [*of_greetings(), *of_slices(), *of_records(), *of_keys(), *of_settings(), *of_values()]
