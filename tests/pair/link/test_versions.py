"""Bench and probe of different versions: records always come over, and what cannot be done is said plainly."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.commands.main import app
from curbtick.errors import LinkError
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import Client
from curbtick.link.replies import greeting_of
from curbtick.store.history import Store
from curbtick_wire import messages, names
from typer.testing import CliRunner

from tests.pair.link.harness import UNIQUE_ID, Bench
from tests.pair.link.test_link import ROUND

UPDATED = {"later": "Update the bench software.", "altered": "Update the older of the two"}


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "own.db") as made:
        yield made


def refuses_every_change(client: Client) -> list[LinkError]:
    limits = {"revision": 9}
    tried = (
        lambda: client.send_limits(limits),
        lambda: client.send_round(ROUND),
        client.anchor,
        lambda: client.pair("bench"),
        lambda: client.revoke(1),
        client.self_test,
        client.limits,
        client.round,
    )
    found = []
    for deed in tried:
        with pytest.raises(LinkError, match="version") as caught:
            deed()
        assert "can still be pulled" in caught.value.data
        found.append(caught.value)
    return found


@pytest.mark.parametrize("change", ["later", "altered"])
def test_a_probe_updated_first_is_pulled_whole_and_changed_in_nothing(
    bench: Bench, store: Store, change: str
) -> None:
    with bench.connect() as client:
        client.pair("bench")
    bench.probe.kill()
    bench.probe.start(change)
    seq = int(bench.probe.tell("later"))
    with bench.connect() as client:
        assert client.paired
        assert not client.may_change
        found = pull_probe(store, client)
        assert (found.records, found.new, found.acknowledged_seq) == (seq, seq, 0)
        assert store.stored_to(UNIQUE_ID) == seq == client.greet().last_seq
        version, kept = found.notes
        assert "takes no round, limits, key, anchor or acknowledgement" in version
        assert UPDATED[change] in version
        assert kept == "1 record is of a kind or layout not known here, stored as it came."
        assert all(UPDATED[change] in error.next_step for error in refuses_every_change(client))


def test_a_probe_of_an_older_version_is_pulled_whole(
    bench: Bench, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(messages, "PROTOCOL_VERSION", messages.PROTOCOL_VERSION + 1)
    with bench.connect() as client:
        found = pull_probe(store, client)
        assert found.records == 41
        assert "curbtick install" in found.notes[0]
        assert all("curbtick install" in error.next_step for error in refuses_every_change(client))


def test_firmware_set_back_to_an_older_version_serves_what_the_newer_one_wrote(
    bench: Bench, store: Store
) -> None:
    bench.probe.kill()
    bench.probe.start("later", "pairing")
    seq = int(bench.probe.tell("later"))
    bench.probe.kill()
    bench.probe.start("pairing")
    bench.probe.append(4)
    with bench.connect() as client:
        client.pair("bench")
        records = {record.seq: record for record in client.records(1, client.greet().last_seq)}
        words = [names.EVENTS[one.values["event"]] for one in records.values() if "event" in one.values]
        assert list(records) == list(range(1, client.greeting.last_seq + 1))
        assert not records[seq].known
        assert "gap" not in words
        assert pull_probe(store, client).acknowledged_seq >= seq + 5


def test_the_commands_say_it(bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.probe.kill()
    bench.probe.start("altered")
    bench.probe.tell("later")
    monkeypatch.setenv("CURBTICK_KEYS", str(bench.keyring.path))
    monkeypatch.setenv("CURBTICK_DB", str(tmp_path / "own.db"))
    for command in (["pull"], ["probes", "--stats"]):
        said = CliRunner().invoke(app, [*command, "--port", bench.pty.path])
        assert said.exit_code == 0, said.output
        assert "Its firmware is of another version" in " ".join(said.output.split())
    assert "bench_frames_stale 0" in said.output


def test_what_a_probe_is_not_made_for_is_named() -> None:
    values = {field[0]: 0 for field in messages.entry_of(messages.GREET | messages.REPLY)[2]}  # type: ignore[index]
    values |= {"oldest_version": 1, "newest_version": 1, "unique_id": bytes(8), "firmware": b"0.0"}
    values |= {
        "definition": messages.definition(),
        "capabilities": names.mask_of(messages.CAPABILITIES, ["bumper"]),
    }
    assert greeting_of(values).shortcomings() == ["It cannot do: hiss, seal, self-test."]
