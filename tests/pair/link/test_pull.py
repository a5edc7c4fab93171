"""Pulls into a history from a probe in MicroPython: where they begin, and what two benches make of one probe."""

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from curbtick.errors import StoreError
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
from curbtick.link.pull import Takeover
from curbtick.store.history import Store

from tests.pair.link.harness import UNIQUE_ID, Bench


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "own.db") as made:
        yield made


def raws(client: Client) -> list[bytes]:
    return [raw for batch in client.batches(1, client.greet().last_seq) for raw in batch.raws]


def test_an_unpaired_bench_pulls_each_record_once_and_frees_nothing(bench: Bench, store: Store) -> None:
    with bench.connect() as client:
        assert pull_probe(store, client).records == 41
        assert pull_probe(store, client).records == 0
        last = bench.probe.append(7)
        found = pull_probe(store, client)
        assert (found.records, found.new, found.acknowledged_seq) == (7, 7, 0)
        assert store.stored_to(UNIQUE_ID) == last == client.greet().last_seq
        assert client.greeting.first_seq == 1


def test_what_was_pulled_before_pairing_is_acknowledged_without_pulling_it_again(
    bench: Bench, store: Store
) -> None:
    with bench.connect() as client:
        pull_probe(store, client)
        client.pair("late bench")
        found = pull_probe(store, client)
        assert found.records == 2
        assert found.acknowledged_seq == 43


def test_a_second_bench_gets_what_the_first_has_acknowledged(
    paired: Client, bench: Bench, store: Store, tmp_path: Path
) -> None:
    pull_probe(store, paired)
    paired.close()
    with (
        connect(bench.pty.path, Keyring(tmp_path / "other.json")) as other,
        Store(tmp_path / "b.db") as theirs,
    ):
        other.pair("second bench")
        bench.probe.append(5)
        pull_probe(theirs, other)
        pull_probe(store, other)
        held = raws(other)
        for history in (store, theirs):
            assert history.stored_to(UNIQUE_ID) >= 49
        assert store.digest(UNIQUE_ID, 1, 49) == theirs.digest(UNIQUE_ID, 1, 49)
        assert other.greet().acknowledged_seq == len(held) - 1


def test_a_history_set_back_to_an_older_copy_gets_back_what_the_probe_still_holds(
    paired: Client, bench: Bench, store: Store, tmp_path: Path
) -> None:
    pull_probe(store, paired)
    with Store(tmp_path / "older.db") as older:
        older.ingest(UNIQUE_ID, raws(paired)[:20])
        bench.probe.append(3)
        pull_probe(older, paired)
        last = older.stored_to(UNIQUE_ID)
        assert last >= 46
        assert older.digest(UNIQUE_ID, 1, 20) == store.digest(UNIQUE_ID, 1, 20)
        assert older.record_count(UNIQUE_ID) == last


def test_a_log_begun_afresh_is_not_taken_for_the_old_one(bench: Bench, store: Store) -> None:
    with bench.connect() as client:
        pull_probe(store, client)
        bench.probe.kill()
        (bench.folder / "flash").unlink()
        bench.probe.start()
        bench.probe.append(60)
        client.greet()
        with pytest.raises(StoreError, match="and the history has records of its log") as caught:
            pull_probe(store, client)
        assert "renew" in caught.value.next_step
        store.renew_probe(UNIQUE_ID)
        assert pull_probe(store, client).new == 61


def test_a_paired_bench_has_every_piece_proved_and_an_unpaired_one_none(
    paired: Client, bench: Bench, store: Store, tmp_path: Path
) -> None:
    bench.probe.append(400)
    found = pull_probe(store, paired)
    assert (found.proved, found.log_id) == (True, paired.greeting.log_id)
    assert pull_probe(store, paired).proved
    paired.close()
    with (
        connect(bench.pty.path, Keyring(tmp_path / "none.json")) as other,
        Store(tmp_path / "b.db") as theirs,
    ):
        found = pull_probe(theirs, other)
        assert (found.proved, found.records > 400) == (False, True)


def test_a_probe_that_does_not_hold_the_key_is_pulled_unproved_and_acknowledged_nothing(
    paired: Client, bench: Bench, store: Store
) -> None:
    """It has the true probe's id, and takes every request as if it knew the key."""
    key = bench.keyring.get(UNIQUE_ID)
    assert key is not None
    bench.keyring.put(UNIQUE_ID, replace(key, secret="ab" * 32))
    told = pull_probe(store, paired)
    assert (told.proved, told.acknowledged_seq, told.records) == (False, 0, 42)
    paired.key_refused = False
    assert not paired.prove(1, 0, hashlib.sha256().digest())
    found = Takeover(paired, lambda batch: None, None, None).run(None)
    assert (found.proved, found.acknowledged_seq) == (False, 0)


def test_records_changed_on_their_way_are_not_proved(paired: Client) -> None:
    raws = [raw for batch in paired.batches(1, 20) for raw in batch.raws]
    digest = hashlib.sha256(b"".join(raws)).digest()
    assert paired.prove(1, 20, digest)
    assert not paired.prove(1, 19, digest)
    assert not paired.prove(1, 20, hashlib.sha256(b"".join(raws[:-1])).digest())


def test_a_proof_of_an_older_greeting_is_not_taken(paired: Client) -> None:
    """Another bench greets in between: this one greets anew, once, and asks again."""
    first = paired._bench_nonce
    digest = hashlib.sha256().digest()
    with_other = Client(paired._link, Keyring(Path("/nowhere")), "other")
    with_other.greet()
    assert paired.prove(1, 0, digest)
    assert paired._bench_nonce != first
