"""Limits cannot be loosened on the sly: what a cable, a recorder and a hand at the bytes achieve."""

import hmac
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from curbtick.errors import LinkError
from curbtick.link import request
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
from curbtick.link.request import RefusedError, ask
from curbtick_wire import codec, messages

from tests.bench._common import micropython_command
from tests.faults.badwire.wire import BadWire
from tests.pair.link.harness import UNIQUE_ID, Bench
from tests.pair.link.test_link import ROUND, reply_to

SET_SIZE = codec.size_of(codec.settings.LIMIT_SET)


# Open, and refused where the probe has no round, no calibration, no such key.
NOT_HELD = (messages.ROUND_GET, messages.CALIBRATION_GET, messages.PROVE)


def packed(client: Client, **changes: Any) -> bytes:
    return codec.pack_limits({**client.limits(), **changes})


def signed(bench: Bench, client: Client, body: bytes, ahead: int = 1, unique_id: str = UNIQUE_ID) -> bytes:
    """A limits request as the paired bench would sign it."""
    key = bench.keyring.use(UNIQUE_ID)
    text = messages.signed_text(
        bytes.fromhex(unique_id),
        client.greeting.probe_nonce,
        messages.LIMITS_PUT,
        body,
        key.key_id,
        key.counter + ahead,
    )
    tag = hmac.digest(bytes.fromhex(key.secret), text, "sha256")
    values = {"key_id": key.key_id, "counter": key.counter + ahead, "tag": tag}
    return body + codec.pack(messages.SIGNATURE, values)


def refused(client: Client, payload: bytes) -> RefusedError:
    with pytest.raises(RefusedError) as caught:
        ask(client._link, messages.LIMITS_PUT, payload)
    return caught.value


Spoil = Callable[[bytes], bytes]
TAMPERED: dict[str, Spoil] = {
    "a byte of the set": lambda data: data[:9] + bytes([data[9] ^ 1]) + data[10:],
    "the key's id": lambda data: data[:-37] + b"\x07" + data[-36:],
    "the counter": lambda data: data[:-36] + bytes([data[-36] + 1]) + data[-35:],
    "the tag": lambda data: data[:-1] + bytes([data[-1] ^ 128]),
    "the signature left out": lambda data: data[:-37],
    "nothing at all": lambda data: b"",
}


@pytest.mark.parametrize("what", TAMPERED)
def test_a_set_changed_on_its_way_is_refused_and_counted(paired: Client, bench: Bench, what: str) -> None:
    before, stats = paired.limits(), paired.stats()
    error = refused(
        paired, TAMPERED[what](signed(bench, paired, packed(paired, revision=9, noise_max_cdb=-2000)))
    )
    after = paired.stats()
    assert error.code in ("bad_tag", "unknown_key", "bad_payload")
    counted = "requests_bad" if error.code == "bad_payload" else "requests_unsigned"
    assert after[counted] == stats[counted] + 1
    assert after["requests_refused"] == stats["requests_refused"] + 1
    assert paired.limits() == before
    assert paired.send_limits({**before, "revision": 9}) == 9


@pytest.mark.parametrize("field", [field[0] for field in codec.settings.LIMIT_CLASS if field[1] in "hH"])
def test_a_set_out_of_range_is_refused_by_the_probe_itself_and_named(
    paired: Client, bench: Bench, field: str
) -> None:
    before = paired.limits()
    place = SET_SIZE + codec.size_of(
        tuple(codec.settings.LIMIT_CLASS[: [one[0] for one in codec.settings.LIMIT_CLASS].index(field)])
    )
    body = bytearray(packed(paired, revision=9))
    body[place : place + 2] = b"\xff\x7f"
    error = refused(paired, signed(bench, paired, bytes(body)))
    assert (error.code, field in error.words) == ("refused", True)
    assert paired.limits() == before
    assert paired.stats()["requests_refused"] == 1


def test_a_recorded_set_is_refused_after_a_restart(paired: Client, bench: Bench) -> None:
    first = signed(bench, paired, packed(paired, revision=5), ahead=0)
    second = signed(bench, paired, packed(paired, revision=6), ahead=0)
    for payload in (first, second):
        ask(paired._link, messages.LIMITS_PUT, payload)
    assert refused(paired, first).code == "replayed"
    bench.probe.kill()
    bench.probe.start()
    for payload in (second, first):
        assert refused(paired, payload).code == "not_greeted"
    assert paired.greet().limits_revision == 6
    for payload in (second, first):
        assert refused(paired, payload).code == "bad_tag"
    assert paired.greet().limits_revision == 6


def test_a_set_held_back_is_refused_after_the_next_greeting(paired: Client, bench: Bench) -> None:
    held_back = signed(bench, paired, packed(paired, revision=5), ahead=0)
    paired.greet()
    assert refused(paired, held_back).code == "bad_tag"
    assert paired.greet().limits_revision == 1


def test_a_key_that_ran_ahead_or_fell_behind_goes_on_from_the_counter_that_the_probe_proves(
    paired: Client, bench: Bench
) -> None:
    paired.send_round(ROUND)
    key = bench.keyring.get(UNIQUE_ID)
    assert key is not None
    for counter in (key.counter + 200_000, 0):
        bench.keyring.put(UNIQUE_ID, replace(key, counter=counter))
        assert paired.send_round(ROUND) == 3
        now = bench.keyring.get(UNIQUE_ID)
        assert now is not None
        assert now.counter < key.counter + 9


def test_a_counter_that_nobody_proves_is_not_taken(
    paired: Client, bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What answers has the probe's id and no key: it calls every request replayed and makes up a tag."""

    def answer(_link: Any, kind: int, _payload: bytes, _patience: Any) -> tuple[dict[str, Any], bytes]:
        if kind == messages.PROVE:
            return {"counter": 2**32 - 1, "tag": bytes(32)}, b""
        raise RefusedError("replayed", "a request", "", 2**32 - 1)

    key = bench.keyring.get(UNIQUE_ID)
    assert key is not None
    monkeypatch.setattr(request, "ask", answer)
    with pytest.raises(RefusedError, match="replayed"):
        paired.send_round(ROUND)
    assert bench.keyring.get(UNIQUE_ID) == replace(key, counter=key.counter + 1)
    monkeypatch.undo()
    assert paired.send_round(ROUND) == 3


def test_what_was_signed_for_another_probe_or_runs_far_ahead_is_refused(paired: Client, bench: Bench) -> None:
    body = packed(paired, revision=5)
    assert refused(paired, signed(bench, paired, body, unique_id="c0b0000000000abd")).code == "bad_tag"
    assert refused(paired, signed(bench, paired, body, ahead=70_000)).code == "replayed"
    assert paired.greet().limits_revision == 1


def test_without_step_held_nobody_pairs_and_a_full_probe_says_so(paired: Client, bench: Bench) -> None:
    for number in range(2, 9):
        assert paired.pair(f"bench {number}") == number
    with pytest.raises(RefusedError, match="revoke one first"):
        paired.pair("bench 9")
    bench.probe.kill()
    bench.probe.start()
    with pytest.raises(RefusedError, match="STEP"):
        paired.pair("bench 9")
    held = paired.keys()
    assert [key.key_id for key in held] == list(range(1, 9))
    assert paired.send_round(ROUND) == 3


def test_a_reader_without_a_key_changes_nothing_by_any_request(bench: Bench) -> None:
    """Every request of the table, signed with a key the probe never saw: only reading is answered."""
    bench.probe.kill()
    bench.probe.start()
    with bench.connect() as client:
        before = client.greet()
        for number, _name, _fields, _tail, rule in messages.REQUESTS:
            body = codec.pack(messages.SIGNATURE, {"key_id": 1, "counter": 1, "tag": bytes(32)})
            frame = reply_to(client, number, bytes(64) + body if rule != messages.OPEN else b"\1" * 64)
            answered = frame.kind != messages.ERROR | messages.REPLY
            assert answered == (rule == messages.OPEN and number not in NOT_HELD), number
        after = client.greet()
        assert (after.last_seq, after.limits_revision, after.round_id) == (before.last_seq, 1, 0)
        assert client.keys() == []


def test_a_probe_at_its_prompt_is_told_from_one_that_is_silent(tmp_path: Path) -> None:
    """The real interpreter's prompt behind a wire: the bench says what it looks like, and the prompt lives on."""
    wire = BadWire()
    end = wire.probe.slave
    prompt = subprocess.Popen(
        micropython_command(), stdin=end, stdout=end, stderr=end, start_new_session=True
    )
    try:
        with pytest.raises(LinkError, match="REPL") as caught:
            connect(wire.bench.path, Keyring(tmp_path / "keys.json"))
        assert "Nothing was read or changed" in caught.value.data
        assert prompt.poll() is None
    finally:
        prompt.kill()
        prompt.wait()
        wire.close()
