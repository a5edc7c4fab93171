"""Serves the protocol: whole frames in, at most one request obeyed and one frame sent for each poll.

Only this module writes to the serial line. Whatever arrives, `poll` does not raise, keeps a bounded part of it, and
changes nothing unless a paired bench signed it.
"""

from curbtick_wire import frames, messages
from curbtick_wire._typing import Any, Reply
from curbtick_wire.errors import WireError

from curbtick_probe.hardware import Serial
from curbtick_probe.link.access import Access, Denied
from curbtick_probe.link.proof import Proof
from curbtick_probe.link.service import Identity, Probe, Service
from curbtick_probe.link.slices import Slices
from curbtick_probe.store.settings.setting import Refused

__all__ = ["Identity", "Link", "Probe"]

_READ_SIZE = 256


class Link:
    """The probe's end of the wire.

    board_serial: read_into(buffer) -> count without blocking, write(data) -> count in bounded time; probe: a
    Probe. Counters since start: `sent` and `lost` frames, requests `unknown`, `bad` and `refused`, and
    `faults`, requests that failed for a reason that lies in the probe.
    """

    def __init__(self, board_serial: Serial, probe: Probe) -> None:
        self._serial = board_serial
        self._log = probe.log
        self._access = Access(probe.keys, probe.identity.unique_id)
        self._reader = frames.FrameReader()
        self._buffer = bytearray(_READ_SIZE)
        self._waiting: list[tuple[int, int, bytes]] = []
        self._slices: Any = None
        self._slices_request = 0
        self._proof: Any = None
        self._proof_request = 0
        self._torn = True
        self._last_signed = (0, b"", b"")
        self._last_answer: Reply = ({}, b"")
        self.sent = self.lost = self.unknown = self.bad = self.refused = self.faults = 0
        self._service = Service(probe, self.counters, self._access.greet)

    def counters(self) -> dict[str, int]:
        """Everything counted since start, by the names of the stats reply."""
        reader, access = self._reader, self._access
        return {
            "frames_good": reader.good,
            "frames_damaged": reader.damaged,
            "frames_too_long": reader.too_long,
            "frames_sent": self.sent,
            "frames_lost": self.lost,
            "requests_unknown": self.unknown,
            "requests_bad": self.bad,
            "requests_unsigned": access.unsigned,
            "requests_replayed": access.replayed,
            "requests_refused": self.refused,
            "faults": self.faults,
        }

    def poll(self) -> bool:
        """Do a bounded piece of work; never raises. True while there is more to do at once."""
        try:
            self._receive()
            if self._waiting:
                self._serve(*self._waiting.pop(0))
            elif self._slices:
                self._send_slice()
            elif self._proof:
                self._prove()
        except Exception:  # noqa: BLE001 - whatever went wrong, the panel must stay alive
            self.faults += 1
            self._slices = self._proof = None
        return bool(self._waiting or self._slices or self._proof)

    def _receive(self) -> None:
        if self._waiting:
            return
        count = self._serial.read_into(self._buffer)
        if count:
            self._waiting = self._reader.feed(bytes(self._buffer[:count]))

    def _send(self, kind: int, request: int, payload: bytes) -> None:
        """Write one whole frame, or count it as lost.

        The delimiter in front ends any noise before it; a slice needs none where the frame before it went out whole.
        """
        data = frames.encode(kind, request, payload)
        if self._torn or kind != messages.READ | messages.REPLY:
            data = frames.DELIMITER + data
        self._torn = self._serial.write(data) != len(data)
        if self._torn:
            self.lost += 1
            self._slices = None
        else:
            self.sent += 1

    def _send_slice(self) -> None:
        slices = self._slices
        ready = slices.step()
        if ready:
            payload = bytes([ready[0]]) + ready[1]
            self._send(messages.READ | messages.REPLY, self._slices_request, payload)
        if slices.done and self._slices:
            self._slices = None
            end = {
                "chunks": slices.index,
                "ended": 1 if slices.ended else 0,
                "last_seq": self._log.last_seq or 0,
                "log_id": self._log.log_id,
            }
            self._answer(messages.READ_END, self._slices_request, (end, b""))

    def _prove(self) -> None:
        """Go one step on with a proof, and answer with it once it is made."""
        proof = self._proof
        digest = proof.step()
        if digest:
            self._proof = None
            reply = self._access.proof(proof.request, self._log.log_id, digest)
            self._answer(messages.PROVE, self._proof_request, (reply, b""))

    def _answer(self, kind: int, request: int, reply: Reply) -> None:
        kind |= messages.REPLY
        self._send(kind, request, messages.pack(kind, *reply))

    def _serve(self, kind: int, request: int, payload: bytes) -> None:
        """Obey one request and answer it. What is no request at all is counted and left unanswered."""
        if kind & messages.REPLY or kind == 0:
            self.unknown += 1
            return
        self._slices = self._proof = None
        try:
            reply = self._obey(kind, request, payload)
        except Denied as denied:
            self._refuse(kind, request, denied.code, denied.words, denied.value)
        except Refused as refused:
            self._refuse(kind, request, "refused", refused.field + ": " + refused.why)
        except WireError as error:
            self.bad += 1
            self._refuse(kind, request, "bad_payload", str(error))
        except Exception as error:  # noqa: BLE001 - the bench is told, the probe goes on
            self.faults += 1
            self._refuse(kind, request, "failed", type(error).__name__ + ": " + str(error))
        else:
            if reply:
                self._answer(kind, request, reply)

    def _refuse(self, kind: int, request: int, code: str, words: str, value: int = 0) -> None:
        self.refused += 1
        number = messages.ERRORS.index(code)
        values = {"request_kind": kind, "code": number, "value": value}
        tail = words.encode()[: messages.WORDS_MAX]
        self._answer(messages.ERROR, request, (values, tail))

    def _obey(self, kind: int, request: int, payload: bytes) -> Reply | None:
        """The reply to a request as (values, tail), or None where slices or a proof follow instead."""
        service = self._service
        if kind in service.signed_requests:
            return self._obey_signed(kind, payload)
        if kind not in service.open_requests and kind not in (messages.READ, messages.PROVE, messages.PAIR):
            self.unknown += 1
            raise Denied("unknown_request", "kind: this firmware does not know it", kind)
        values, _later_fields = messages.unpack(kind, payload)
        if kind == messages.PAIR:
            return service.pair(values)
        if kind == messages.READ:
            self._slices = Slices(self._log, values)
            self._slices_request = request
            return None
        if kind == messages.PROVE:
            # An unknown key is refused before any record is read.
            self._access.proof(values, self._log.log_id, b"")
            self._proof = Proof(self._log, values)
            self._proof_request = request
            return None
        return service.open_requests[kind](values)

    def _obey_signed(self, kind: int, payload: bytes) -> Reply:
        """Obey a signed request once; the last one sent again gets the same answer again."""
        signed = (kind, payload, self._access.probe_nonce)
        if self._last_signed == signed:
            return self._last_answer
        body, key_id, counter = self._access.verify(kind, payload)
        self._access.use(key_id, counter)
        values, tail = messages.unpack(kind, body)
        answer = self._service.signed_requests[kind](values, tail, key_id)
        self._last_signed, self._last_answer = signed, answer
        return answer
