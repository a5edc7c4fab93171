"""One request and its reply: sent again until it is answered, and a refusal turned into an error."""

import time
from dataclasses import dataclass
from typing import Any

from curbtick_wire import messages
from curbtick_wire.errors import WireError

from curbtick.errors import LinkError
from curbtick.link.port import Link

_ERROR = messages.ERROR | messages.REPLY
_NEXT_STEPS = {
    "unknown_request": "Update the probe's firmware with `curbtick install`.",
    "bad_payload": "Bench and probe are of different versions: update the older one.",
    "unknown_key": "Hold STEP while switching the probe on, and run `curbtick probes pair`.",
    "bad_tag": "The key file does not fit this probe: pair it again (STEP held at power-up).",
    "replayed": "Pair the probe again (STEP held at power-up): its counter is not known, and it proves nothing.",
    "not_pairing": "Switch the probe off, hold STEP while switching it on, and try again.",
    "refused": "Correct the field named, and send it again.",
    "digest_differs": "Pull again.",
    "not_held": "See `curbtick probes --stats` for what the probe holds.",
    "not_greeted": "Try again; the probe started anew meanwhile.",
    "failed": "Switch the probe off and on, and try again; its self-test tells whether flash fails.",
}


@dataclass(frozen=True)
class Patience:
    """How long to wait for a reply and how often to ask: each wait is twice the one before."""

    first_wait_s: float = 0.5
    tries: int = 5


PATIENT = Patience()


class SilentError(LinkError):
    """The probe did not answer, however often it was asked."""


class RefusedError(LinkError):
    """The probe refused a request. code: a word of messages.ERRORS; value: its number, if any."""

    def __init__(self, code: str, request: str, words: str, value: int) -> None:
        super().__init__(
            f"The probe refused {request}: {words or code}.",
            "Nothing was changed on the probe.",
            _NEXT_STEPS.get(code, "Update the bench software."),
        )
        self.code = code
        self.words = words
        self.value = value


def refusal(payload: bytes) -> RefusedError:
    """The error that an error reply's payload stands for."""
    try:
        values, words = messages.unpack(_ERROR, payload)
    except WireError:
        return RefusedError("unknown", "a request", "", 0)
    number = values["code"]
    code = messages.ERRORS[number] if number < len(messages.ERRORS) else f"error {number}"
    entry = messages.entry_of(values["request_kind"])
    return RefusedError(code, entry[1] if entry else "a request", messages.field_text(words), values["value"])


def ask(link: Link, kind: int, payload: bytes, patience: Patience = PATIENT) -> tuple[dict[str, Any], bytes]:
    """Send a request until it is answered: (fields, tail) of the reply.

    Raises RefusedError when the probe refuses, SilentError when it does not answer, LinkError
    when the port is gone.
    """
    request = link.next_id()
    wait_s = patience.first_wait_s
    for _ in range(patience.tries):
        link.send(kind, request, payload)
        until_s = time.monotonic() + wait_s
        # Frames of this request that are no answer to it must not put the end of the wait off.
        while (left_s := until_s - time.monotonic()) > 0 and (frame := link.receive(request, left_s)):
            if frame.kind == _ERROR:
                raise refusal(frame.payload)
            if frame.kind == kind | messages.REPLY:
                return _unpacked(frame.kind, frame.payload)
        wait_s *= 2
    raise SilentError(
        "The probe does not answer.",
        "Whether the last request arrived is not known; sending it again does no harm.",
        "See that the probe is plugged in and switched on, and try again.",
    )


def _unpacked(kind: int, payload: bytes) -> tuple[dict[str, Any], bytes]:
    try:
        return messages.unpack(kind, payload)
    except WireError as error:
        raise LinkError(
            f"The probe's answer does not fit its definition ({error}).",
            "Nothing was changed; its records stay on the probe.",
            "Bench and probe are of different versions: update the older one.",
        ) from error
