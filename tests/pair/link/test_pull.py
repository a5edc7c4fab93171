"""Pulls into a history from a probe in MicroPython: where they begin, and what two benches make of one probe."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
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
        # One record in between, so that the new log's record 41 is of another kind than the old one's: both may
        # have been written in the same millisecond after their starts.
        bench.probe.append(1)
        bench.probe.append(59)
        client.greet()
        assert pull_probe(store, client).new == 61
