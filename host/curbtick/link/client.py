"""What a bench can ask of a probe: greet it, pull its records, send it limits and rounds, pair with it.

with connect(port) as client: client.pull(commit)

Reading needs no key. Whatever changes the probe is signed with the key this bench got by pairing
(keyring.py).
"""

import hashlib
import hmac
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from types import TracebackType
from typing import Any, Self

from curbtick_wire import codec, messages

from curbtick.errors import InputError, LinkError
from curbtick.link import request
from curbtick.link.download import Batch, Download
from curbtick.link.keyring import Key, Keyring
from curbtick.link.port import Link, choose_port, open_wire
from curbtick.link.pull import Pulled, Takeover
from curbtick.link.replies import Anchor, Greeting, PairedKey, Record, decode, fitting, greeting_of, packed
from curbtick.link.request import Patience, RefusedError, SilentError
from curbtick.progress import Progress

_GREETING_PATIENCE = Patience(first_wait_s=0.3, tries=4)
# A signed request waits for flash on the probe.
_SIGNED_PATIENCE = Patience(first_wait_s=1.0, tries=4)
_TICKS_ASKED = 8
# A slow probe is asked less often.
_TICKS_WITHIN_S = 5.0
_NO_RECORDS = hashlib.sha256().digest()


def connect(port: str | None = None, keyring: Keyring | None = None) -> "Client":
    """Open a probe and greet it.

    port: a path, `socket://host:port`, a probe's unique id, or None for the only probe plugged in.
    Raises LinkError: no probe, port busy, not a probe, no answer.
    """
    path = choose_port(port)
    client = Client(Link(open_wire(path)), keyring or Keyring(), path)
    try:
        client.greet()
    except BaseException:
        client.close()
        raise
    return client


class Client:
    """One probe on an open link. `greeting` is what it said last; `clock` gives seconds since 1970, UTC.

    Every method raises LinkError when the probe does not answer, and RefusedError (a LinkError) when it
    refuses. `key_trouble` says why the key file cannot be used, if so: then nothing is signed.
    """

    def __init__(self, link: Link, keyring: Keyring, path: str) -> None:
        self._link = link
        self._keyring = keyring
        self._path = path
        self.clock: Callable[[], float] = time.time
        self.key_refused = False
        self.key_trouble: InputError | None = None
        self.greeting: Greeting
        self._bench_nonce: bytes

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the port back."""
        self._link.close()

    @property
    def unique_id(self) -> str:
        """The probe's unique id, 16 hex digits."""
        return self.greeting.unique_id

    @property
    def paired(self) -> bool:
        """Whether this bench has a key for the probe that it can use; see `key_trouble`."""
        return self._key() is not None

    def _key(self) -> Key | None:
        """This bench's key for the probe; None as well where the key file is unfit, for reading needs none."""
        try:
            return self._keyring.get(self.unique_id)
        except InputError as error:
            self.key_trouble = error
            return None

    @property
    def may_change(self) -> bool:
        """Whether this bench has a key for the probe and speaks its version: what signed requests need.

        Not after the probe refused the key (`key_refused`), because it was wiped or the key revoked.
        """
        return self.paired and not self.key_refused and not self.greeting.to_update

    def greet(self) -> Greeting:
        """Ask the probe who it is and what it holds. Requests signed before are worth nothing from now on."""
        self._bench_nonce = os.urandom(messages.NONCE_SIZE)
        values = {
            "bench_version": messages.PROTOCOL_VERSION,
            "definition": messages.definition(),
            "bench_nonce": self._bench_nonce,
        }
        payload = messages.pack(messages.GREET, values)
        try:
            reply, _ = request.ask(self._link, messages.GREET, payload, _GREETING_PATIENCE)
        except SilentError as error:
            raise self._no_greeting() from error
        self.greeting = greeting_of(reply)
        return self.greeting

    def _no_greeting(self) -> LinkError:
        if self._link.heard:
            return LinkError(
                f"What is on {self._path} is not a probe, or it is at its REPL.",
                "Nothing was read or changed.",
                "Name the probe's port with --port; if this is the probe, switch it off and on without a button held.",
            )
        return LinkError(
            f"Nothing answers on {self._path}.",
            "Nothing was read or changed.",
            "Switch the probe on, wait for its bar, and try again; try another cable or port.",
        )

    def stats(self) -> dict[str, int]:
        """The probe's counters (the fields of the stats reply) and, with `bench_` in front, this end's."""
        reply, _ = self._ask(messages.STATS)
        return {**reply, "bench_frames_stale": self._link.stale, "bench_frames_damaged": self._link.damaged}

    def batches(self, from_seq: int = 1, until_seq: int | None = None) -> Iterator[Batch]:
        """The raw records from from_seq on, in order, in batches as they come; see Batch for what is missing.

        Safe to break off at any batch and to begin again at any number.
        """
        last = self.greeting.last_seq if until_seq is None else until_seq
        return Download(self._link, from_seq, last, self.greeting.log_id).batches()

    def records(self, from_seq: int = 1, until_seq: int | None = None) -> Iterator[Record]:
        """The records from from_seq on, decoded, in order; those of an unknown kind or layout come raw."""
        for batch in self.batches(from_seq, until_seq):
            yield from map(decode, batch.raws)

    def pull(
        self,
        commit: Callable[[Batch], object],
        *,
        from_seq: int | None = None,
        stored_digest: Callable[[int, int], bytes] | None = None,
        progress: Progress | None = None,
    ) -> Pulled:
        """Take over every record the probe holds, and acknowledge what is stored if this bench is paired.

        commit: called with each batch; must return only once it is stored durably, and take a batch it has
        already without harm. A batch covers all numbers from its first_seq to its last_seq, those without a
        record included: they are gone from the probe for good.
        from_seq: where to begin; by default after the last acknowledged record (at the first record the
        probe still holds, when this bench is not paired). From further back, records that another bench
        acknowledged come first, as far as the probe still holds them.
        stored_digest: gives the SHA-256 over the stored raw records of a range (first, last); needed for
        acknowledging when from_seq lies further on than that.
        progress: called with (record number reached, last record number) after each batch.
        """
        return Takeover(self, commit, stored_digest, progress).run(from_seq)

    def acknowledge(self, last_seq: int, digest: bytes) -> int:
        """Tell the probe that everything up to last_seq is stored durably: the number acknowledged now.

        digest: SHA-256 over the raw records after greeting.acknowledged_seq up to last_seq, in order. Doing so
        again changes nothing. The probe may free the records' space. Needs the key.
        """
        first = self.greeting.acknowledged_seq + 1
        of_log = messages.log_digest(self.greeting.log_id, digest)
        values = {"first_seq": first, "last_seq": last_seq, "digest": of_log}
        reply, _ = self._signed(messages.ACKNOWLEDGE, values)
        self.greeting = replace(self.greeting, acknowledged_seq=reply["acknowledged_seq"])
        return self.greeting.acknowledged_seq

    def prove(self, first_seq: int, last_seq: int, digest: bytes) -> bool:
        """Whether the probe proves that it holds this bench's key and records of this digest.

        digest: SHA-256 over the raw records from first_seq to last_seq, in order; with last_seq below first_seq over
        none, which proves the key alone. False without a key, for a probe of another version, and for a wrong tag.
        """
        if not self.may_change:
            return False
        if self._proved_counter(first_seq, last_seq, digest) is None:
            # Another bench may have greeted the probe since: its nonce counts then.
            known = (self.unique_id, self.greeting.log_id)
            greeting = self.greet()
            same = (greeting.unique_id, greeting.log_id) == known and self.may_change
            return same and self._proved_counter(first_seq, last_seq, digest) is not None
        return True

    def _proved_counter(self, first_seq: int, last_seq: int, digest: bytes) -> int | None:
        """The highest counter that the probe says was used, where its proof holds; None where it does not."""
        key = self._key()
        if key is None or not self.may_change:
            return None
        greeting = self.greeting
        asked = {"key_id": key.key_id, "first_seq": first_seq, "last_seq": last_seq}
        try:
            reply, _ = self._ask(messages.PROVE, asked, patience=_SIGNED_PATIENCE)
        except RefusedError as error:
            self.key_refused = error.code == "unknown_key"
            return None
        text = messages.proof_text(
            bytes.fromhex(greeting.unique_id),
            self._bench_nonce,
            greeting.log_id,
            first_seq,
            last_seq,
            reply["counter"],
            messages.log_digest(greeting.log_id, digest),
        )
        tag = hmac.digest(bytes.fromhex(key.secret), text, "sha256")
        return int(reply["counter"]) if hmac.compare_digest(tag, reply["tag"]) else None

    def limits(self) -> dict[str, Any]:
        """The limit set in force, in the form of codec.unpack_limits."""
        self._need_same_version("read the limits of")
        return fitting(codec.unpack_limits, self._ask(messages.LIMITS_GET)[1])

    def send_limits(self, limits: dict[str, Any]) -> int:
        """Put a limit set in force: its revision. RefusedError names the field at fault. Needs the key."""
        self._need_same_version("send limits to")
        reply, _ = self._signed(messages.LIMITS_PUT, {}, packed(codec.pack_limits, limits))
        return int(reply["revision"])

    def calibration(self) -> dict[str, Any] | None:
        """The calibration in force, in the form of codec.unpack_calibration, or None."""
        self._need_same_version("read the calibration of")
        return self._held(messages.CALIBRATION_GET, codec.unpack_calibration)

    def send_calibration(self, calibration: dict[str, Any]) -> int:
        """Put a calibration in force: its revision. RefusedError names the field at fault. Needs the key."""
        self._need_same_version("send a calibration to")
        tail = packed(codec.pack_calibration, calibration)
        reply, _ = self._signed(messages.CALIBRATION_PUT, {}, tail)
        return int(reply["revision"])

    def round(self) -> dict[str, Any] | None:
        """The round the probe holds, in the form of codec.unpack_round, or None."""
        self._need_same_version("read the round of")
        return self._held(messages.ROUND_GET, codec.unpack_round)

    def _held(self, kind: int, unpack: Callable[[bytes], dict[str, Any]]) -> dict[str, Any] | None:
        try:
            return fitting(unpack, self._ask(kind)[1])
        except RefusedError as error:
            if error.code == "not_held":
                return None
            raise

    def send_round(self, round_: dict[str, Any]) -> int:
        """Send a round: its id. RefusedError names the field at fault. Needs the key."""
        self._need_same_version("send a round to")
        reply, _ = self._signed(messages.ROUND_PUT, {}, packed(codec.pack_round, round_))
        return int(reply["round_id"])

    def measure_anchor(self) -> Anchor:
        """A pair of bench time and probe ticks, from the quickest of several exchanges.

        The ticks were read at some moment of the exchange: uncertainty is half its length, and one tick.
        """
        until_s = time.monotonic() + _TICKS_WITHIN_S
        later = (self._one_anchor() for _ in range(_TICKS_ASKED - 1) if time.monotonic() < until_s)
        pairs = [self._one_anchor(), *later]
        return min(pairs, key=lambda pair: pair.uncertainty_ms)

    def _one_anchor(self) -> Anchor:
        started_s, host_s = time.monotonic(), self.clock()
        reply, _ = self._ask(messages.TICKS)
        half_s = (time.monotonic() - started_s) / 2
        uncertainty_ms = int(half_s * 1000) + 2
        return Anchor(reply["boot"], reply["ticks_ms"], int((host_s + half_s) * 1000), uncertainty_ms)

    def anchor(self) -> Anchor:
        """Measure an anchor and have the probe log it, to whole seconds. Needs the key."""
        self._need_same_version("anchor the clock of")
        anchor = self.measure_anchor()
        seconds, milliseconds = divmod(anchor.host_ms, 1000)
        values = {
            "boot": anchor.boot,
            "ticks_ms": anchor.ticks_ms,
            "host_time_s": seconds,
            "host_time_ms": milliseconds,
            "uncertainty_ms": anchor.uncertainty_ms,
        }
        self._signed(messages.ANCHOR, values)
        return anchor

    def pair(self, bench_name: str) -> int:
        """Share a new key with the probe and keep it: its key id. The probe must have been started with
        STEP held.

        bench_name: what the probe lists the key under, at most 16 bytes of it.
        """
        self._need_same_version("pair with")
        secret = os.urandom(messages.SECRET_SIZE)
        name = messages.text_field(bench_name, messages.KEY_NAME_SIZE)
        reply, _ = self._ask(messages.PAIR, {"secret": secret, "name": name}, patience=_SIGNED_PATIENCE)
        self._keyring.put(self.unique_id, Key(reply["key_id"], secret.hex()))
        self.key_refused = False
        return int(reply["key_id"])

    def keys(self) -> list[PairedKey]:
        """The keys the probe holds."""
        reply, tail = self._ask(messages.KEYS)
        rows = fitting(lambda data: codec.unpack_list(messages.KEY_ROW, data, reply["count"])[0], tail)
        return [PairedKey(row["key_id"], row["counter"], messages.field_text(row["name"])) for row in rows]

    def revoke(self, key_id: int) -> None:
        """Have the probe forget a key; this bench's own is forgotten here too. Needs the key."""
        self._need_same_version("revoke a key of")
        own = self._keyring.get(self.unique_id)
        self._signed(messages.REVOKE, {"revoked_key_id": key_id})
        if own and own.key_id == key_id:
            self._keyring.remove(self.unique_id)

    def self_test(self) -> None:
        """Have the probe run its self-test; the result comes as a record. Needs the key."""
        self._need_same_version("start the self-test of")
        self._signed(messages.SELF_TEST, {})

    def _ask(
        self, kind: int, values: dict[str, Any] | None = None, patience: Patience = request.PATIENT
    ) -> tuple[dict[str, Any], bytes]:
        return request.ask(self._link, kind, messages.pack(kind, values or {}), patience)

    def _signed(self, kind: int, values: dict[str, Any], tail: bytes = b"") -> tuple[dict[str, Any], bytes]:
        """Send a signed request; once more where the greeting has run out, or this bench's counter does not fit.

        A counter is taken from the probe only with its proof: what an unproved one says changes no key.
        """
        body = messages.pack(kind, values, tail)
        try:
            return self._send_signed(kind, body)
        except RefusedError as error:
            counter = self._counter_after(error)
        try:
            return self._send_signed(kind, body, counter)
        except RefusedError as error:
            self.key_refused = error.code in ("unknown_key", "bad_tag")
            raise

    def _counter_after(self, error: RefusedError) -> int | None:
        """The counter to try again from after a refusal, None for this bench's own; raises where trying is no use."""
        if error.code == "replayed":
            counter = self._proved_counter(1, 0, _NO_RECORDS)
            if counter is None:
                raise error
            return counter
        known = (self.unique_id, self.greeting.log_id)
        if error.code not in ("bad_tag", "not_greeted"):
            self.key_refused = error.code == "unknown_key"
            raise error
        # Another bench has greeted the probe since, or it has started again.
        self.greet()
        if (self.unique_id, self.greeting.log_id) != known:
            raise error
        return None

    def _send_signed(self, kind: int, body: bytes, proved: int | None = None) -> tuple[dict[str, Any], bytes]:
        key = self._keyring.use(self.unique_id, proved)
        unique_id, nonce = bytes.fromhex(self.unique_id), self.greeting.probe_nonce
        text = messages.signed_text(unique_id, nonce, kind, body, key.key_id, key.counter)
        tag = hmac.digest(bytes.fromhex(key.secret), text, "sha256")
        signature = codec.pack(messages.SIGNATURE, {"key_id": key.key_id, "counter": key.counter, "tag": tag})
        return request.ask(self._link, kind, body + signature, _SIGNED_PATIENCE)

    def _need_same_version(self, deed: str) -> None:
        greeting = self.greeting
        if not greeting.to_update:
            return
        raise LinkError(
            f"This bench cannot {deed} probe {self.unique_id}: its firmware {greeting.firmware} is of another version.",
            "Its records can still be pulled; record kinds not known here are stored as they are.",
            greeting.update_words,
        )
