"""What a probe answers, as values: its greeting, its records, its keys, its clock."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from curbtick_wire import codec, messages, names
from curbtick_wire.errors import WireError

from curbtick.errors import InputError, LinkError

_T = TypeVar("_T")


@dataclass(frozen=True)
class Greeting:
    """What a probe says of itself; sequence numbers are 0 where there is none yet.

    unique_id: in hex.
    log_id: 32 random bits that name the log.
    probe_nonce: what requests are signed over until the next greeting.
    ticks_ms: since this boot.
    first_seq, last_seq: the records that it holds.
    acknowledged_seq: up to where a bench has taken them over.
    same_version: limits, rounds and the like can be exchanged.
    same_definition: every record kind and field is known to both.
    to_update: which side is the older: "probe", "bench", or "older" where the version does not tell; empty for neither.
    """

    unique_id: str
    log_id: int
    probe_nonce: bytes
    firmware: str
    boot: int
    ticks_ms: int
    capabilities: int
    first_seq: int
    last_seq: int
    acknowledged_seq: int
    limits_revision: int
    calibration_revision: int
    round_id: int
    battery_mv: int
    pairing: bool
    same_version: bool
    same_definition: bool
    to_update: str

    @property
    def update_words(self) -> str:
        """What to do about different versions."""
        return _UPDATES[self.to_update]

    def shortcomings(self) -> list[str]:
        """What cannot be done with this probe and why, a sentence each."""
        lacking = set(messages.CAPABILITIES) - set(names.words_of(messages.CAPABILITIES, self.capabilities))
        words = [f"It cannot do: {', '.join(sorted(lacking)).replace('_', '-')}."] if lacking else []
        return [f"{_OTHER_VERSION} {self.update_words}", *words] if self.to_update else words


_OTHER_VERSION = (
    "Its firmware is of another version: its records can be pulled, but it takes no round, limits, key, anchor or "
    "acknowledgement from this bench."
)
_UPDATES = {
    "": "Nothing is to be updated.",
    "probe": "Update the probe's firmware with `curbtick install`.",
    "bench": "Update the bench software.",
    "older": "Update the older of the two: `curbtick install` for the probe, or the bench software.",
}


@dataclass(frozen=True)
class Record:
    """One record: raw as in the log, and decoded by codec.decode_record.

    known is False for a kind or layout of another version: values is empty then, and raw is what to keep.
    """

    seq: int
    boot: int
    ticks_ms: int
    kind: int
    known: bool
    values: dict[str, Any]
    tail: bytes
    raw: bytes


@dataclass(frozen=True)
class Anchor:
    """A pair of bench time and probe ticks.

    host_ms: since 1970, UTC.
    uncertainty_ms: either way.
    """

    boot: int
    ticks_ms: int
    host_ms: int
    uncertainty_ms: int


@dataclass(frozen=True)
class PairedKey:
    """A key the probe holds: never its secret."""

    key_id: int
    counter: int
    name: str


def decode(raw: bytes) -> Record:
    """A raw record, decoded as far as this version knows it. Raises LinkError for one that contradicts
    itself.
    """
    fields = fitting(codec.decode_record, raw)
    return Record(raw=raw, **{name: fields[name] for name in Record.__dataclass_fields__ if name != "raw"})


def fitting(unpack: Callable[[bytes], _T], data: bytes) -> _T:
    """unpack(data); LinkError where the data do not fit their definition."""
    try:
        return unpack(data)
    except WireError as error:
        raise LinkError(
            f"The probe's answer does not fit its definition ({error}).",
            "Nothing was changed; its records stay on the probe.",
            "Bench and probe are of different versions: update the older one.",
        ) from error


def packed(pack: Callable[[dict[str, Any]], bytes], value: dict[str, Any]) -> bytes:
    """A limit set or round as bytes. Raises InputError, naming the field, for a value outside its range."""
    try:
        return pack(value)
    except WireError as error:
        raise InputError(
            f"The field {error.field} {error.why}.",
            "Nothing was sent; what the probe holds is unchanged.",
            "Correct the field named, and send it again.",
        ) from error


def greeting_of(reply: dict[str, Any]) -> Greeting:
    """The greeting in the fields of a greet reply."""
    oldest, newest = reply["oldest_version"], reply["newest_version"]
    same = {name: reply[name] for name in Greeting.__dataclass_fields__ if name in reply}
    own = {
        "unique_id": reply["unique_id"].hex(),
        "firmware": messages.field_text(reply["firmware"]),
        "pairing": bool(reply["pairing"]),
        "same_version": oldest <= messages.PROTOCOL_VERSION <= newest,
        "same_definition": reply["definition"] == messages.definition(),
        "to_update": _to_update(oldest, newest, reply["definition"]),
    }
    return Greeting(**{**same, **own})


def _to_update(oldest: int, newest: int, definition: bytes) -> str:
    if newest < messages.PROTOCOL_VERSION:
        return "probe"
    if oldest > messages.PROTOCOL_VERSION:
        return "bench"
    return "" if definition == messages.definition() else "older"
