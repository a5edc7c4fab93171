"""Who may change the probe, tried from the bench's side over a pty."""

from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Key, Keyring
from curbtick.link.request import RefusedError
from curbtick_wire import messages

from tests.pair.link.harness import UNIQUE_ID, Bench
from tests.pair.link.test_link import ROUND, reply_to


def test_pairing_needs_step_held(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    try:
        with bench.connect() as client:
            with pytest.raises(RefusedError, match="STEP"):
                client.pair("intruder")
            assert client.keys() == []
            with pytest.raises(InputError, match="no key"):
                client.send_round(ROUND)
            assert client.round() is None
    finally:
        bench.close()


def test_several_benches_each_revocable(paired: Client, bench: Bench, tmp_path: Path) -> None:
    other_keyring = Keyring(tmp_path / "other.json")
    paired.close()
    with connect(bench.pty.path, other_keyring) as other:
        assert other.pair("second bench") == 2
        assert other.send_round(ROUND) == 3
        held = other.keys()
        assert [(key.key_id, key.name) for key in held] == [(1, "first bench"), (2, "second bench")]
    with bench.connect() as first:
        first.revoke(2)
        held = first.keys()
        assert [key.key_id for key in held] == [1]
    with connect(bench.pty.path, other_keyring) as other:
        with pytest.raises(RefusedError, match="key_id") as caught:
            other.send_round({**ROUND, "round_id": 4})
        assert caught.value.code == "unknown_key"
        assert other.round() == ROUND
        assert other.stats()["requests_unsigned"] == 1


def test_a_key_file_brought_back_from_a_copy_still_works(paired: Client, bench: Bench) -> None:
    old = bench.keyring.get(UNIQUE_ID)
    assert old is not None
    for number in range(4, 9):
        paired.send_round({**ROUND, "round_id": number})
    bench.keyring.put(UNIQUE_ID, old)
    assert paired.send_round({**ROUND, "round_id": 9}) == 9
    assert paired.stats()["requests_replayed"] == 1


def test_a_wrong_key_is_refused(paired: Client, bench: Bench) -> None:
    bench.keyring.put(UNIQUE_ID, Key(1, "00" * 32, 5))
    with pytest.raises(RefusedError) as caught:
        paired.send_round(ROUND)
    assert caught.value.code == "bad_tag"
    assert paired.round() is None


def test_a_recorded_request_played_again_changes_nothing(paired: Client, bench: Bench) -> None:
    link = paired._link
    recorded: list[tuple[int, bytes]] = []
    send = link.send
    link.send = lambda kind, request, payload: (  # type: ignore[method-assign]
        recorded.append((kind, payload)),
        send(kind, request, payload),
    )[1]
    paired.send_round(ROUND)
    paired.send_round({**ROUND, "round_id": 4})
    puts = [payload for kind, payload in recorded if kind == messages.ROUND_PUT]
    link.send = send  # type: ignore[method-assign]
    last = [record.seq for record in paired.records(1, 2**32 - 2)][-1]
    assert reply_to(paired, messages.ROUND_PUT, puts[1]).kind == messages.ROUND_PUT | messages.REPLY
    assert reply_to(paired, messages.ROUND_PUT, puts[0]).kind == messages.ERROR | messages.REPLY
    assert paired.greet().last_seq == last
    assert paired.greeting.round_id == 4
    assert paired.stats()["requests_replayed"] == 1
