"""A probe that tells the truth, by protocol/SPEC.md alone. Lies are told by changing what it answers."""

import hashlib
import hmac
import os
import struct
import zlib
from collections.abc import Callable
from typing import Any, NamedTuple

from tests.bench.evilprobe.tables import KINDS, NUMBERS, pack, record_table, size, table, unpack
from tests.bench.evilprobe.wire import REPLY, Frame

UNIQUE_ID = bytes.fromhex("5eed0000000000a1")
LOG_ID = 0x1D2C3B4A
DEFINITION = bytes.fromhex("e1bddda96dbd8e92")
ERROR = NUMBERS["error"]
NAMES = {number: name for name, number in NUMBERS.items()}
ERRORS = {"unknown_request": 0, "bad_payload": 1, "unknown_key": 2, "bad_tag": 3, "replayed": 4}
ERRORS |= {"not_pairing": 5, "refused": 6, "digest_differs": 7, "not_held": 8, "failed": 9, "not_greeted": 10}
SIGNATURE = table("Signature, at the end of a signed payload")
SLICES = 128
FACTORY = {48: 48_000, 40: 40_000}

READING = {
    "positions": 4, "class_khz": 48, "verdict": 1, "level_cdb": -900, "frequency_hz": 48_200, "sweep_hz": 30,
    "interval_us": 120_000, "burst_us": 700, "ringdown_us": 800, "noise_cdb": -6000, "high_floor_cdb": -5000,
    "single_cdb": 3000, "train_cdb": 3500, "burst_count": 6, "due_count": 6, "sound_count": 6,
    "listened_ms": 900, "time_to_verdict_ms": 960, "limits_revision": 1, "battery_mv": 4000,
    "temperature_ddeg": 190,
}  # fmt: skip


class Answer(NamedTuple):
    """A reply before it is framed: kind and payload."""

    kind: int
    payload: bytes


class Refusal(Exception):
    """An error reply: its word and value."""

    def __init__(self, word: str, value: int = 0) -> None:
        super().__init__(word)
        self.word = word
        self.value = value


def record(kind: int, seq: int, body: bytes, *, layout: int = 1, length: int | None = None) -> bytes:
    """A record with a right CRC. length: what its header says instead of the true size."""
    total = size(table("Header")) + len(body) + 4
    values = {"kind": kind, "layout": layout, "size": length or total, "seq": seq, "boot": 1}
    head = pack(table("Header"), {**values, "ticks_ms": 1000 * (seq & 0xFFFF)})
    return head + body + struct.pack("<I", zlib.crc32(head + body))


def reading(seq: int, **values: Any) -> bytes:
    """A reading's record; values over those of a plain PASS."""
    return record(KINDS["reading"], seq, pack(record_table("reading"), {**READING, **values}))


def event(seq: int, number: int, value: int = 0, extra: int = 0) -> bytes:
    """An event's record."""
    values = {"event": number, "value": value, "extra": extra}
    return record(KINDS["event"], seq, pack(record_table("event"), values))


class Probe:
    """A truthful probe: its log by number, its keys as id -> [secret, counter, name]."""

    def __init__(self, readings: int = 20) -> None:
        self.unique_id, self.log_id = UNIQUE_ID, LOG_ID
        self.records: dict[int, bytes] = {1: event(1, 0, 1)}
        self.keys: dict[int, list[Any]] = {}
        self.acknowledged = 0
        self.signed_seen = 0
        self.probe_nonce = self.bench_nonce = b""
        self._last: tuple[Frame, Answer] | None = None
        self.take(readings)

    def take(self, count: int) -> None:
        """Take readings: they stand in the log."""
        for _ in range(count):
            self.add(reading)

    def add(self, make: Callable[[int], bytes]) -> int:
        """Append the record that make(number) gives: its number."""
        seq = self.last_seq + 1
        self.records[seq] = make(seq)
        return seq

    @property
    def last_seq(self) -> int:
        return max(self.records, default=0)

    def answers(self, frame: Frame) -> list[Answer]:
        """The replies to a request, the last one ends it."""
        name = NAMES.get(frame.kind, "")
        try:
            if name == "read":
                return self._read(unpack(table("read"), frame.payload))
            if frame.kind in range(16, 32):
                return [self._obeyed(name, frame)]
            return [Answer(frame.kind + REPLY, getattr(self, f"_{name}")(frame.payload))]
        except (Refusal, AttributeError, struct.error) as error:
            return [refused(frame.kind, error)]

    def _greet(self, payload: bytes) -> bytes:
        nonce = unpack(table("greet"), payload)["bench_nonce"]
        if nonce != self.bench_nonce:
            self.bench_nonce, self.probe_nonce = nonce, os.urandom(16)
        return pack(table("greet_reply"), self.greeting())

    def greeting(self) -> dict[str, Any]:
        """The fields of greet_reply."""
        return {
            "oldest_version": 1, "newest_version": 1, "definition": DEFINITION, "unique_id": self.unique_id,
            "log_id": self.log_id, "probe_nonce": self.probe_nonce, "firmware": b"0.1.0", "boot": 1,
            "ticks_ms": 500_000, "first_seq": min(self.records, default=0), "last_seq": self.last_seq,
            "acknowledged_seq": self.acknowledged, "limits_revision": 1, "battery_mv": 4000,
            "pairing": int(not self.keys),
        }  # fmt: skip

    def _stats(self, _payload: bytes) -> bytes:
        return pack(table("stats_reply"), {"log_free_bytes": 400_000, "heap_free_bytes": 90_000})

    def _ticks(self, _payload: bytes) -> bytes:
        return pack(table("ticks_reply"), {"boot": 1, "ticks_ms": 500_000})

    def _limits_get(self, _payload: bytes) -> bytes:
        head = {"revision": 1, "class_count": len(FACTORY), "noise_max_cdb": -3000, "battery_min_mv": 3300,
                "below_siblings_cdb": 800, "high_floor_min_cdb": -7000, "high_floor_max_cdb": -3000,
                "seal_leak_cdb": 2000, "hiss_rise_cdb": 300}  # fmt: skip
        return pack(table("Limit set"), head) + b"".join(limit_class(khz, hz) for khz, hz in FACTORY.items())

    def _round_get(self, _payload: bytes) -> bytes:
        raise Refusal("not_held")

    _calibration_get = _round_get

    def _keys(self, _payload: bytes) -> bytes:
        rows = [{"key_id": n, "counter": key[1], "name": key[2]} for n, key in self.keys.items()]
        return bytes([len(rows)]) + b"".join(pack(table("Key row"), row) for row in rows)

    def _pair(self, payload: bytes) -> bytes:
        values = unpack(table("pair"), payload)
        key_id = max(self.keys, default=0) + 1
        self.keys[key_id] = [values["secret"], 0, values["name"]]
        return bytes([key_id])

    def _prove(self, payload: bytes) -> bytes:
        asked = unpack(table("prove"), payload)
        if asked["key_id"] not in self.keys:
            raise Refusal("unknown_key")
        secret, counter, _name = self.keys[asked["key_id"]]
        first, last = asked["first_seq"], asked["last_seq"]
        text = b"curbtick records" + self.unique_id + self.bench_nonce
        text += struct.pack("<IIII", self.log_id, first, last, counter) + self.digest(first, last)
        return pack(table("prove_reply"), {"counter": counter, "tag": hmac.digest(secret, text, "sha256")})

    def digest(self, first: int, last: int) -> bytes:
        """SHA-256 over the log's id and the SHA-256 of the raw records of a range."""
        raw = b"".join(data for seq, data in sorted(self.records.items()) if first <= seq <= last)
        return hashlib.sha256(struct.pack("<I", self.log_id) + hashlib.sha256(raw).digest()).digest()

    def _read(self, asked: dict[str, Any]) -> list[Answer]:
        chosen = [(seq, raw) for seq, raw in sorted(self.records.items()) if seq >= asked["from_seq"]]
        left_out = asked["from_byte"] if chosen and chosen[0][0] == asked["from_seq"] else 0
        data = b"".join(raw for seq, raw in chosen if seq <= asked["until_seq"])[left_out:]
        step = asked["chunk"]
        wanted = [n for n in range(SLICES) if asked["wanted"][n // 8] >> n % 8 & 1]
        sent = [n for n in wanted if n * step < len(data)]
        ended = not sent or sent[-1] != wanted[-1] or (sent[-1] + 1) * step >= len(data)
        chunk = NUMBERS["read_chunk"]
        answers = [Answer(chunk, bytes([n]) + data[n * step : (n + 1) * step]) for n in sent]
        total = min(SLICES, -(-len(data) // step))
        slices = total if ended else sent[-1] + 1
        end = {"chunks": slices, "ended": int(ended), "last_seq": self.last_seq, "log_id": self.log_id}
        return [*answers, Answer(NUMBERS["read_end"], pack(table("read_end"), end))]

    def _obeyed(self, name: str, frame: Frame) -> Answer:
        """A signed request: refused, or obeyed and its counter used up. The same bytes again get the same answer."""
        if self._last and self._last[0].payload == frame.payload and self._last[0].kind == frame.kind:
            return self._last[1]
        self.signed_seen += 1
        body, tail = frame.payload[: -size(SIGNATURE)], frame.payload[-size(SIGNATURE) :]
        signature = unpack(SIGNATURE, tail)
        self._check(frame.kind, body, signature)
        self.keys[signature["key_id"]][1] = signature["counter"]
        answer = Answer(frame.kind + REPLY, getattr(self, f"_{name}")(body, signature["key_id"]))
        self._last = (frame, answer)
        return answer

    def _check(self, kind: int, body: bytes, signature: dict[str, Any]) -> None:
        key_id, counter = signature["key_id"], signature["counter"]
        if key_id not in self.keys:
            raise Refusal("unknown_key")
        secret, used, _name = self.keys[key_id]
        text = b"curbtick request" + self.unique_id + self.probe_nonce
        text += struct.pack("<BBI", kind, key_id, counter) + body
        if not hmac.compare_digest(hmac.digest(secret, text, "sha256"), signature["tag"]):
            raise Refusal("bad_tag")
        if not used < counter <= used + 65_536:
            raise Refusal("replayed", used)

    def _acknowledge(self, body: bytes, key_id: int) -> bytes:
        asked = unpack(table("acknowledge"), body)
        if asked["digest"] != self.digest(asked["first_seq"], asked["last_seq"]):
            raise Refusal("digest_differs", self.acknowledged)
        if asked["last_seq"] > self.acknowledged:
            self.acknowledged = asked["last_seq"]
            self.add(lambda seq: event(seq, 10, self.acknowledged, key_id))
        return struct.pack("<I", self.acknowledged)

    def _anchor(self, body: bytes, _key_id: int) -> bytes:
        asked = unpack(table("anchor"), body)
        self.add(lambda seq: event(seq, 6, asked["host_time_s"], asked["uncertainty_ms"]))
        return struct.pack("<II", asked["boot"], asked["ticks_ms"])

    def _limits_put(self, body: bytes, _key_id: int) -> bytes:
        return body[:4]

    def _round_put(self, body: bytes, _key_id: int) -> bytes:
        return body[:4]

    def _self_test(self, _body: bytes, _key_id: int) -> bytes:
        return b""


def limit_class(khz: int, hz: int) -> bytes:
    """A class of the limit set."""
    values = {"class_khz": khz, "centre_hz": hz, "window_hz": 6500, "pass_cdb": -2000, "dead_cdb": -3500,
              "neighbour_cdb": -4100, "interval_min_ms": 30, "interval_max_ms": 500, "missing_permille": 250,
              "ringdown_min_us": 60, "ringdown_max_us": 2500, "burst_max_us": 3000}  # fmt: skip
    return pack(table("Class of a limit set"), values)


def refused(kind: int, error: Exception) -> Answer:
    """The error reply for what went wrong."""
    word = error.word if isinstance(error, Refusal) else "bad_payload"
    word = "unknown_request" if isinstance(error, AttributeError) else word
    value = error.value if isinstance(error, Refusal) else 0
    values = {"request_kind": kind, "code": ERRORS[word], "value": value}
    return Answer(ERROR, pack(table("error"), values) + word.encode())
