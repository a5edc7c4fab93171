"""The probe's access check: tags, keys, counters."""

import hmac

import pytest
from curbtick_probe.link.access import COUNTER_JUMP_MAX, Access, Denied, same
from curbtick_wire import codec, messages
from curbtick_wire.errors import WireError
from hypothesis import given
from hypothesis import strategies as st

ID = b"probe-01"
SECRET = b"s" * 32


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


def signed(body=b"body", kind=17, key_id=3, counter=11, secret=SECRET, unique_id=ID):
    tag = hmac.digest(secret, messages.signed_text(unique_id, kind, body, key_id, counter), "sha256")
    return body + codec.pack(messages.SIGNATURE, {"key_id": key_id, "counter": counter, "tag": tag})


@pytest.fixture
def access():
    return Access(Keys(), ID)


def refusal(deed, *arguments):
    with pytest.raises(Denied) as caught:
        deed(*arguments)
    return caught.value.code, caught.value.value


def test_a_right_signature_gives_the_body(access):
    assert access.verify(17, signed()) == (b"body", 3, 11)
    assert access.verify(17, signed(b"")) == (b"", 3, 11)
    assert (access.unsigned, access.replayed) == (0, 0)


def test_what_is_not_signed_for_this_probe_kind_and_key_is_denied(access):
    wrong = [
        signed(kind=18),
        signed(secret=b"t" * 32),
        signed(unique_id=b"probe-02"),
        signed()[:-1] + b"\0",
        b"bodY" + signed()[4:],
        b"x" + signed(),
    ]
    assert [refusal(access.verify, 17, payload) for payload in wrong] == [("bad_tag", 3)] * len(wrong)
    assert refusal(access.verify, 17, signed(key_id=4)) == ("unknown_key", 4)
    assert access.unsigned == len(wrong) + 1


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
