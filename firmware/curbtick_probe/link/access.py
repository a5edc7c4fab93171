"""Who may change anything, and how the probe proves itself: HMAC-SHA256 under a paired bench's key.

A request is signed over the probe's nonce of the last greeting and over a counter that only ever grows; a proof is made
over the bench's nonce.
"""

import hashlib
import os

from curbtick_wire import messages
from curbtick_wire._typing import Values

from curbtick_probe.store.keys import Keys

_BLOCK = 64
# A counter may run ahead by this much and no more, so that one message cannot use a key's counters up.
COUNTER_JUMP_MAX = 65536


def hmac_sha256(key: bytes, text: bytes) -> bytes:
    """HMAC-SHA256 (RFC 2104, FIPS 198-1) of text under key, both bytes of any length: 32 bytes."""
    if len(key) > _BLOCK:
        key = hashlib.sha256(key).digest()
    key = key + bytes(_BLOCK - len(key))
    inner = hashlib.sha256(bytes([byte ^ 0x36 for byte in key]))
    inner.update(text)
    outer = hashlib.sha256(bytes([byte ^ 0x5C for byte in key]))
    outer.update(inner.digest())
    tag: bytes = outer.digest()
    return tag


def same(one: bytes, other: bytes) -> bool:
    """Whether two byte strings are equal, in a time that does not tell where they differ."""
    difference = len(one) ^ len(other)
    for left, right in zip(one, other):
        difference |= left ^ right
    return difference == 0


class Denied(Exception):
    """A request that is not obeyed. code: a word of messages.ERRORS; words: why; value: a number with it."""

    def __init__(self, code: str, words: str = "", value: int = 0) -> None:
        super().__init__(code)
        self.code = code
        self.words = words
        self.value = value


class Access:
    """Checks the signatures of requests, and makes the tags of proofs.

    keys: a keys.Keys; unique_id: the probe's 8 bytes. `probe_nonce`: of the last greeting, empty before the first.
    Counters since start: `unsigned` (no key, no tag or a wrong one), `replayed`.
    """

    def __init__(self, keys: Keys, unique_id: bytes) -> None:
        self._keys = keys
        self._unique_id = unique_id
        self._bench_nonce = self.probe_nonce = b""
        self.unsigned = 0
        self.replayed = 0

    def greet(self, bench_nonce: bytes) -> bytes:
        """Begin a greeting, or go on with the one of this bench's nonce: the probe's nonce of it."""
        if bench_nonce != self._bench_nonce or not self.probe_nonce:
            self._bench_nonce = bench_nonce
            self.probe_nonce = os.urandom(messages.NONCE_SIZE)
        return self.probe_nonce

    def _secret(self, key_id: int) -> bytes:
        secret = self._keys.secret(key_id)
        if secret is None:
            self.unsigned += 1
            raise Denied("unknown_key", "key_id: is not paired with this probe", key_id)
        if not self.probe_nonce:
            raise Denied("not_greeted", "greet: comes first after a start")
        return secret

    def proof(self, request: Values, log_id: int, digest: bytes) -> Values:
        """The fields of a prove reply. request: of the prove message; digest: of its records. Raises Denied."""
        key_id = request["key_id"]
        secret, counter = self._secret(key_id), self._keys.counter(key_id) or 0
        first, last = request["first_seq"], request["last_seq"]
        text = messages.proof_text(self._unique_id, self._bench_nonce, log_id, first, last, counter, digest)
        return {"counter": counter, "tag": hmac_sha256(secret, text)}

    def verify(self, kind: int, payload: bytes) -> tuple[bytes, int, int]:
        """(body, key_id, counter) of a signed payload whose tag is right; its counter is not looked at.

        Raises WireError for a payload too short, Denied for an unknown key or a wrong tag.
        """
        body, signature = messages.split_signed(payload)
        key_id, counter = signature["key_id"], signature["counter"]
        secret = self._secret(key_id)
        text = messages.signed_text(self._unique_id, self.probe_nonce, kind, body, key_id, counter)
        if not same(hmac_sha256(secret, text), signature["tag"]):
            self.unsigned += 1
            raise Denied("bad_tag", "tag: is not made with this key and greeting", key_id)
        return body, key_id, counter

    def use(self, key_id: int, counter: int) -> None:
        """Use a verified request's counter up, durably, before the request is obeyed.

        Raises Denied, its value the highest counter used, for one that is not above it or too far above it.
        """
        last = self._keys.counter(key_id) or 0
        if counter > last + COUNTER_JUMP_MAX or not self._keys.advance(key_id, counter):
            self.replayed += 1
            raise Denied("replayed", "counter: was used before or runs too far ahead", last)
