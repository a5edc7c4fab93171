"""A few lies of the hostile probe against the client: each ends soon, in words, and changes no key."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.errors import LinkError
from curbtick.link import allowance
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Key, Keyring

from tests.bench.evilprobe.lies import LOG_LIES, SLICE_LIES
from tests.bench.evilprobe.probe import UNIQUE_ID, Answer, Probe
from tests.bench.evilprobe.server import Server, Tell
from tests.bench.evilprobe.ways import TOP, fields, instead

KEY = Key(1, "ab" * 32, 7)
ENDLESS = (
    "one slice without end",
    "ended, 1 slice, and none sent",
    "not ended, 0 slices",
    "an answer that drips",
)


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


@pytest.fixture
def keyring(tmp_path: Path) -> Keyring:
    made = Keyring(tmp_path / "keys.json")
    made.put(UNIQUE_ID.hex(), KEY)
    return made


def pulled(server: Server, keyring: Keyring, tell: Tell) -> tuple[Client, int]:
    """Pull a liar that has no key: the client, and how many bytes of records came."""
    probe = Probe()
    probe.keys[1] = [b"another secret than the bench's..", 0, b""]
    server.begin(probe, tell)
    received: list[bytes] = []
    with connect(server.path, keyring) as client:
        client.pull(lambda batch: received.extend(batch.raws))
    return client, sum(map(len, received))


@pytest.mark.parametrize("name", ENDLESS)
def test_slices_that_bring_nothing_end_the_pull(
    server: Server, keyring: Keyring, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(allowance, "STALL_S", 1.5)
    with pytest.raises(LinkError, match="record 1|Record 1"):
        pulled(server, keyring, SLICE_LIES[name])
    assert keyring.get(UNIQUE_ID.hex()) == KEY


def test_an_endless_log_ends_at_the_bound(
    server: Server, keyring: Keyring, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(allowance, "LOG_BYTES_MAX", 100_000)
    with pytest.raises(LinkError, match="more than its flash"):
        pulled(server, keyring, LOG_LIES["an endless log"])


def test_a_slow_log_runs_out_of_time(
    server: Server, keyring: Keyring, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(allowance, "START_S", 0.0)
    monkeypatch.setattr(allowance, "RATE_MIN_BYTES_PER_S", 1e9)
    with pytest.raises(LinkError, match="hardly anything"):
        pulled(server, keyring, LOG_LIES["an endless log"])


def test_a_made_up_counter_with_a_made_up_tag_changes_no_key(server: Server, keyring: Keyring) -> None:
    made_up = instead("prove", Answer(137, TOP.to_bytes(4, "little") + bytes(32)))
    client, count = pulled(server, keyring, made_up)
    assert count > 0
    assert keyring.get(UNIQUE_ID.hex()) == KEY
    assert client.greeting.acknowledged_seq == 0


def test_an_unfit_key_file_stops_no_pull(server: Server, keyring: Keyring) -> None:
    keyring.path.chmod(0o644)
    client, count = pulled(server, keyring, fields("greet"))
    assert count > 0
    assert not client.paired
    assert client.key_trouble is not None
    assert "chmod 600" in client.key_trouble.next_step
