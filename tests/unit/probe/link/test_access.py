"""The probe's access check: tags, keys, counters."""

import hmac
import struct

import pytest
from curbtick_probe.link.access import COUNTER_JUMP_MAX, Access, Denied, same
from curbtick_wire import codec, messages
from curbtick_wire.errors import WireError
from hypothesis import given
from hypothesis import strategies as st

ID = b"probe-01"
SECRET = b"s" * 32
NONCE = b"n" * 16
PROOF = {"key_id": 3, "first_seq": 4, "last_seq": 8}


class Keys:
    """One key, number 3."""

    def __init__(self) -> None:
        self.used = 10

    def secret(self, key_id):
        return SECRET if key_id == 3 else None

    def counter(self, key_id):
        return self.used

    def advance(self, key_id, counter):
        if counter <= self.used:
            return False
        self.used = counter
        return True


def signed(access, body=b"body", kind=17, key_id=3, counter=11, secret=SECRET, unique_id=ID):
    text = messages.signed_text(unique_id, access.probe_nonce, kind, body, key_id, counter)
    tag = hmac.digest(secret, text, "sha256")
    return body + codec.pack(messages.SIGNATURE, {"key_id": key_id, "counter": counter, "tag": tag})


@pytest.fixture
def access():
    made = Access(Keys(), ID)
    made.greet(NONCE)
    return made


def refusal(deed, *arguments):
    with pytest.raises(Denied) as caught:
        deed(*arguments)
    return caught.value.code, caught.value.value


def test_a_right_signature_gives_the_body(access):
    assert access.verify(17, signed(access)) == (b"body", 3, 11)
    assert access.verify(17, signed(access, b"")) == (b"", 3, 11)
    assert (access.unsigned, access.replayed) == (0, 0)


def test_what_is_not_signed_for_this_probe_kind_and_key_is_denied(access):
    wrong = [
        signed(access, kind=18),
        signed(access, secret=b"t" * 32),
        signed(access, unique_id=b"probe-02"),
        signed(access)[:-1] + b"\0",
        b"bodY" + signed(access)[4:],
        b"x" + signed(access),
    ]
    assert [refusal(access.verify, 17, payload) for payload in wrong] == [("bad_tag", 3)] * len(wrong)
    assert refusal(access.verify, 17, signed(access, key_id=4)) == ("unknown_key", 4)
    assert access.unsigned == len(wrong) + 1


def test_before_a_greeting_nothing_is_taken_and_nothing_proved():
    access = Access(Keys(), ID)
    assert refusal(access.verify, 17, signed(access)) == ("not_greeted", 0)
    assert refusal(access.proof, PROOF, 9, bytes(32)) == ("not_greeted", 0)


def test_a_request_held_back_is_worth_nothing_after_the_next_greeting(access):
    held_back = signed(access)
    access.greet(b"m" * 16)
    assert refusal(access.verify, 17, held_back) == ("bad_tag", 3)


def test_the_same_greeting_again_goes_on(access):
    held_back, nonce = signed(access), access.probe_nonce
    assert access.greet(NONCE) == nonce
    assert access.verify(17, held_back)[1:] == (3, 11)
    assert len({access.greet(bytes([number]) * 16) for number in range(50)} | {nonce}) == 51


def test_a_proof_is_a_tag_over_what_it_names(access):
    reply = access.proof(PROOF, 9, b"d" * 32)
    text = b"curbtick records" + ID + NONCE + struct.pack("<IIII", 9, 4, 8, 10) + b"d" * 32
    assert reply == {"counter": 10, "tag": hmac.digest(SECRET, text, "sha256")}
    assert refusal(access.proof, {**PROOF, "key_id": 4}, 9, bytes(32)) == ("unknown_key", 4)


@pytest.mark.parametrize("size", range(37))
def test_a_payload_too_short_to_be_signed(access, size):
    with pytest.raises(WireError):
        access.verify(17, bytes(size))


def test_a_counter_is_used_once_and_only_upwards(access):
    access.use(3, 11)
    assert refusal(access.use, 3, 11) == ("replayed", 11)
    assert refusal(access.use, 3, 5) == ("replayed", 11)
    access.use(3, 20)
    assert refusal(access.use, 3, 19) == ("replayed", 20)
    assert access.replayed == 3


def test_a_counter_may_not_run_far_ahead(access):
    assert refusal(access.use, 3, 10 + COUNTER_JUMP_MAX + 1) == ("replayed", 10)
    access.use(3, 10 + COUNTER_JUMP_MAX)


@given(st.binary(max_size=40), st.binary(max_size=40))
def test_same_is_equality(one, other):
    assert same(one, other) == (one == other)
    assert same(one, bytes(one))
