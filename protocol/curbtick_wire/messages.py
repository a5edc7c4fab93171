"""The message table: what bench and probe say to each other, message by message.

An entry is (number, name, fields, tail, rule). A reply's number is its request's with REPLY set. `tail` names
what follows the fields, or is None. The rule of a request says who may send it: OPEN anyone with a cable, SIGNED
the holder of a key (the payload ends with the SIGNATURE fields), PAIRING anyone while the probe was started for
pairing. Every request may be sent again: a second copy changes nothing more.

Greet, ticks, stats and read never change but for fields added at the end, so that a bench of any version reads
the records of a probe of any version.
"""

import hashlib
import struct

from curbtick_wire import codec, frames, records, settings
from curbtick_wire._typing import Any, Kind, Request, Values
from curbtick_wire.errors import WireError

PROTOCOL_VERSION = 1

REPLY = 128
OPEN, SIGNED, PAIRING = range(3)

GREET, STATS, READ, TICKS, LIMITS_GET, ROUND_GET, KEYS, CALIBRATION_GET, PROVE = range(1, 10)
ACKNOWLEDGE, LIMITS_PUT, ROUND_PUT, ANCHOR, REVOKE, SELF_TEST, CALIBRATION_PUT = range(16, 23)
PAIR = 32
READ_END = 126
ERROR = 127

# A window of a read: one bit of `wanted` for each chunk, bit 0 of the first byte the first chunk.
WINDOW = 128
CHUNK_MIN = 32
KEY_NAME_SIZE = 16
NONCE_SIZE = 16
KEYS_MAX = 8
SECRET_SIZE = 32
# The most bytes an error spends on words.
WORDS_MAX = 120

_U8 = 255
_U16 = 65535
_U32 = records.NONE_U32

# What a tag is made over begins with what it is for, so that none is ever good for anything else.
REQUEST_LABEL = b"curbtick request"
RECORDS_LABEL = b"curbtick records"

SIGNATURE = (
    ("key_id", "B", 1, _U8),
    ("counter", "I", 1, _U32),
    ("tag", "32s", 0, 0),
)
SIGNATURE_SIZE = 37
# What a limit set, a round or a calibration may take.
SETTING_MAX = frames.PAYLOAD_MAX - SIGNATURE_SIZE

KEY_ROW = (
    ("key_id", "B", 1, _U8),
    ("counter", "I", 0, _U32),
    ("name", "16s", 0, 0),
)

# Place in the tuple is the number on the wire: append only.
ERRORS = (
    "unknown_request",
    "bad_payload",
    "unknown_key",
    "bad_tag",
    "replayed",
    "not_pairing",
    "refused",
    "digest_differs",
    "not_held",
    "failed",
    "not_greeted",
)

# Capabilities of a probe, as bits of the greeting's mask.
CAPABILITIES = ("bumper", "seal", "hiss", "self_test")

REQUESTS: tuple[Request, ...] = (
    (
        GREET,
        "greet",
        (("bench_version", "B", 1, _U8), ("definition", "8s", 0, 0), ("bench_nonce", "16s", 0, 0)),
        None,
        OPEN,
    ),
    (STATS, "stats", (), None, OPEN),
    (
        READ,
        "read",
        (
            ("from_seq", "I", 1, _U32),
            ("from_byte", "H", 0, records.SNIPPET_MAX),
            ("until_seq", "I", 1, _U32),
            ("chunk", "H", CHUNK_MIN, frames.CHUNK_MAX),
            ("wanted", "16s", 0, 0),
        ),
        None,
        OPEN,
    ),
    (TICKS, "ticks", (), None, OPEN),
    (LIMITS_GET, "limits_get", (), None, OPEN),
    (ROUND_GET, "round_get", (), None, OPEN),
    (KEYS, "keys", (), None, OPEN),
    (CALIBRATION_GET, "calibration_get", (), None, OPEN),
    (
        PROVE,
        "prove",
        (("key_id", "B", 1, _U8), ("first_seq", "I", 1, _U32), ("last_seq", "I", 0, _U32)),
        None,
        OPEN,
    ),
    (
        ACKNOWLEDGE,
        "acknowledge",
        (("first_seq", "I", 1, _U32), ("last_seq", "I", 1, _U32), ("digest", "32s", 0, 0)),
        None,
        SIGNED,
    ),
    (LIMITS_PUT, "limits_put", (), "limit_set", SIGNED),
    (ROUND_PUT, "round_put", (), "round", SIGNED),
    (
        ANCHOR,
        "anchor",
        (
            ("boot", "I", 1, _U32),
            ("ticks_ms", "I", 0, _U32),
            ("host_time_s", "I", 1, _U32),
            ("host_time_ms", "H", 0, 999),
            ("uncertainty_ms", "I", 0, 3600000),
        ),
        None,
        SIGNED,
    ),
    (REVOKE, "revoke", (("revoked_key_id", "B", 1, _U8),), None, SIGNED),
    (SELF_TEST, "self_test", (), None, SIGNED),
    (CALIBRATION_PUT, "calibration_put", (), "calibration", SIGNED),
    (PAIR, "pair", (("secret", "32s", 0, 0), ("name", "16s", 0, 0)), None, PAIRING),
)

REPLIES: tuple[Kind, ...] = (
    (
        GREET | REPLY,
        "greet_reply",
        (
            ("oldest_version", "B", 1, _U8),
            ("newest_version", "B", 1, _U8),
            ("definition", "8s", 0, 0),
            ("unique_id", "8s", 0, 0),
            ("log_id", "I", 1, _U32),
            ("probe_nonce", "16s", 0, 0),
            ("firmware", "12s", 0, 0),
            ("boot", "I", 0, _U32),
            ("ticks_ms", "I", 0, _U32),
            ("capabilities", "I", 0, _U32),
            ("first_seq", "I", 0, _U32),
            ("last_seq", "I", 0, _U32),
            ("acknowledged_seq", "I", 0, _U32),
            ("limits_revision", "I", 0, _U32),
            ("calibration_revision", "H", 0, _U16),
            ("round_id", "I", 0, _U32),
            ("battery_mv", "H", 0, _U16),
            ("pairing", "B", 0, 1),
        ),
        None,
    ),
    (
        STATS | REPLY,
        "stats_reply",
        (
            ("frames_good", "I", 0, _U32),
            ("frames_damaged", "I", 0, _U32),
            ("frames_too_long", "I", 0, _U32),
            ("frames_sent", "I", 0, _U32),
            ("frames_lost", "I", 0, _U32),
            ("requests_unknown", "I", 0, _U32),
            ("requests_bad", "I", 0, _U32),
            ("requests_unsigned", "I", 0, _U32),
            ("requests_replayed", "I", 0, _U32),
            ("requests_refused", "I", 0, _U32),
            ("faults", "I", 0, _U32),
            ("records_dropped", "I", 0, _U32),
            ("log_free_bytes", "I", 0, _U32),
            ("heap_free_bytes", "I", 0, _U32),
        ),
        None,
    ),
    (READ | REPLY, "read_chunk", (("index", "B", 0, WINDOW - 1),), "chunk"),
    (
        READ_END | REPLY,
        "read_end",
        (
            ("chunks", "B", 0, WINDOW),
            ("ended", "B", 0, 1),
            ("last_seq", "I", 0, _U32),
            ("log_id", "I", 1, _U32),
        ),
        None,
    ),
    (TICKS | REPLY, "ticks_reply", (("boot", "I", 0, _U32), ("ticks_ms", "I", 0, _U32)), None),
    (LIMITS_GET | REPLY, "limits_get_reply", (), "limit_set"),
    (ROUND_GET | REPLY, "round_get_reply", (), "round"),
    (KEYS | REPLY, "keys_reply", (("count", "B", 0, KEYS_MAX),), "key_rows"),
    (CALIBRATION_GET | REPLY, "calibration_get_reply", (), "calibration"),
    (PROVE | REPLY, "prove_reply", (("counter", "I", 0, _U32), ("tag", "32s", 0, 0)), None),
    (ACKNOWLEDGE | REPLY, "acknowledge_reply", (("acknowledged_seq", "I", 0, _U32),), None),
    (LIMITS_PUT | REPLY, "limits_put_reply", (("revision", "I", 0, _U32),), None),
    (ROUND_PUT | REPLY, "round_put_reply", (("round_id", "I", 0, _U32),), None),
    (ANCHOR | REPLY, "anchor_reply", (("boot", "I", 0, _U32), ("ticks_ms", "I", 0, _U32)), None),
    (REVOKE | REPLY, "revoke_reply", (("revoked_key_id", "B", 1, _U8),), None),
    (SELF_TEST | REPLY, "self_test_reply", (), None),
    (CALIBRATION_PUT | REPLY, "calibration_put_reply", (("revision", "H", 0, _U16),), None),
    (PAIR | REPLY, "pair_reply", (("key_id", "B", 1, _U8),), None),
    (
        ERROR | REPLY,
        "error",
        (("request_kind", "B", 0, _U8), ("code", "B", 0, _U8), ("value", "I", 0, _U32)),
        "words",
    ),
)


def entry_of(kind: int) -> Kind | None:
    """(number, name, fields, tail) of a message number, or None."""
    for entry in REPLIES if kind & REPLY else REQUESTS:
        if entry[0] == kind:
            return entry[:4]
    return None


def rule_of(kind: int) -> int | None:
    """Who may send a request of this number: OPEN, SIGNED or PAIRING; None for no request known here."""
    for number, _name, _fields, _tail, rule in REQUESTS:
        if number == kind:
            return rule
    return None


def _known(kind: int) -> Kind:
    entry = entry_of(kind)
    if entry is None:
        raise WireError("kind", f"{kind} is not a message")
    return entry


def pack(kind: int, values: Values, tail: bytes = b"") -> bytes:
    """The payload of a message: its fields, then its tail. Raises WireError."""
    _number, name, fields, tail_form = _known(kind)
    if tail and tail_form is None:
        raise WireError("tail", f"a {name} message has none")
    return codec.pack(fields, values) + tail


def unpack(kind: int, payload: bytes) -> tuple[Values, bytes]:
    """(dict of the fields, tail as bytes) of a message.

    Bytes after the fields of a message without a tail are fields of a later version and are left alone.
    Raises WireError.
    """
    _number, _name, fields, _tail_form = _known(kind)
    values, offset = codec.unpack(fields, payload)
    return values, payload[offset:]


def log_digest(log_id: int, records_digest: bytes) -> bytes:
    """What stands for a row of records of a log: SHA-256 over the log's id (u32) and a SHA-256 over the raw records."""
    digest: bytes = hashlib.sha256(struct.pack("<I", log_id) + records_digest).digest()
    return digest


def signed_text(
    unique_id: bytes, probe_nonce: bytes, kind: int, body: bytes, key_id: int, counter: int
) -> bytes:
    """The bytes a signature's tag is made over: HMAC-SHA256 (RFC 2104) under the key named.

    unique_id: the probe's 8 bytes, so that nothing signed for one probe is good for another; probe_nonce: of its last
    greet_reply, so that a request held back is worth nothing after the next one; body: the payload before the
    signature.
    """
    head = REQUEST_LABEL + bytes(unique_id) + bytes(probe_nonce)
    return head + struct.pack("<BBI", kind, key_id, counter) + bytes(body)


def proof_text(
    unique_id: bytes,
    bench_nonce: bytes,
    log_id: int,
    first_seq: int,
    last_seq: int,
    counter: int,
    digest: bytes,
) -> bytes:
    """The bytes a prove_reply's tag is made over: HMAC-SHA256 (RFC 2104) under the key named in the request.

    bench_nonce: of the last greet, so that no older proof is good for it; counter: the highest used with the key;
    digest: log_digest of the raw records from first_seq to last_seq.
    """
    head = RECORDS_LABEL + bytes(unique_id) + bytes(bench_nonce)
    return head + struct.pack("<IIII", log_id, first_seq, last_seq, counter) + digest


def split_signed(payload: bytes) -> tuple[bytes, Values]:
    """(body, dict of the SIGNATURE fields) of a signed payload. Raises WireError."""
    at = len(payload) - SIGNATURE_SIZE
    if at < 0:
        raise WireError("tag", "the request is not signed")
    return payload[:at], codec.unpack(SIGNATURE, payload, at)[0]


def text_field(text: str, size: int) -> bytes:
    """Words for a fixed field: UTF-8, cut to size bytes, filled with zeros."""
    data = text.encode()[:size]
    return data + bytes(size - len(data))


def field_text(data: bytes) -> str:
    """The words of a fixed field; bytes that are not ASCII become `?`."""
    return "".join([chr(byte) if 32 <= byte < 127 else "?" for byte in bytes(data).rstrip(b"\0")])


def _tables() -> Any:
    yield ("version", PROTOCOL_VERSION, records.LAYOUT)
    yield from REQUESTS
    yield from REPLIES
    yield from records.KINDS
    yield records.HEADER, records.SOUND, SIGNATURE, KEY_ROW
    yield settings.LIMIT_SET, settings.LIMIT_CLASS, settings.ROUND, settings.ROUND_VEHICLE
    yield settings.CALIBRATION, settings.CALIBRATION_GAIN
    yield ERRORS, CAPABILITIES


def definition() -> bytes:
    """The first 8 bytes of a SHA-256 over every table: equal at both ends when nothing differs."""
    digest = hashlib.sha256()
    for table in _tables():
        digest.update(repr(table).encode())
    start: bytes = digest.digest()[:8]
    return start
