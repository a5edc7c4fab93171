"""Two benches number their rounds alike: which of a probe's readings are of this history's round."""

from collections.abc import Iterator, Sequence

import pytest
from curbtick.fleet.rounds import note_sent
from curbtick.store import tables
from curbtick.store.history import Store, ensure_probe
from curbtick.store.sync.merge import sync
from curbtick_wire import names, records
from sqlalchemy import select

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import NOON_MS, PROBE, reading, record
from tests.unit.bench.store.test_contract import server, where

__all__ = ["server", "where"]


@pytest.fixture
def store(where: str) -> Iterator[Store]:
    """A history, of either engine, with a round 1 of one vehicle."""
    with Store(where) as made:
        benchdata.add_round(made, 1, [benchdata.add_vehicle(made, "Van 1")])
        yield made


def received(seq: int, number: int = 1) -> bytes:
    values = {"event": names.EVENTS.index("round_received"), "value": number}
    return record(records.EVENT, seq, values)


def send(store: Store, above_seq: int, at_ms: int = NOON_MS) -> None:
    with store.write() as connection:
        key = ensure_probe(connection, PROBE, NOON_MS)
        note_sent(connection, key, "round", 1, at_ms, above_seq)


def read(*seqs: int) -> list[bytes]:
    return [reading(seq, round_id=1) for seq in seqs]


def placed(store: Store) -> list[int]:
    """Numbers of the readings that belong to a vehicle."""
    columns = tables.readings.c
    with store.read() as connection:
        query = select(columns.seq).where(columns.vehicle_id.is_not(None)).order_by(columns.seq)
        return list(connection.execute(query).scalars())


@pytest.mark.parametrize("at_once", [True, False])
def test_only_readings_between_the_send_and_another_benchs_round_count(store: Store, at_once: bool) -> None:
    batch: Sequence[bytes] = [received(1), *read(2, 3), received(4), *read(5, 6), received(7), *read(8, 9)]
    send(store, 3)
    for part in [batch] if at_once else [[raw] for raw in batch]:
        store.ingest(PROBE, part, first_seq=1)
    assert placed(store) == [5, 6]


def test_a_round_sent_again_counts_again(store: Store) -> None:
    send(store, 0)
    send(store, 6, NOON_MS + 1)
    store.ingest(PROBE, [received(1), *read(2), received(4), *read(5), received(7), *read(8)])
    assert placed(store) == [2, 8]


def test_other_rounds_in_between_end_nothing(store: Store) -> None:
    send(store, 0)
    store.ingest(PROBE, [received(1), *read(2), received(3, 2), *read(4)])
    assert placed(store) == [2, 4]


def test_an_event_that_the_probe_could_not_keep_ends_nothing(store: Store) -> None:
    send(store, 1)
    store.ingest(PROBE, read(1, 2, 3))
    assert placed(store) == [2, 3]


def test_bumper_results_and_checks_go_the_same_way(store: Store) -> None:
    send(store, 3)
    six = dict.fromkeys(("reading_seqs", "verdicts", "reasons"), (0,) * 6)
    kinds = {records.BUMPER: six, records.SEAL: {}, records.HISS: {}}
    batch = [
        record(kind, seq, {"round_id": 1, "vehicle": 1, **more})
        for seq, (kind, more) in enumerate(2 * list(kinds.items()), 1)
    ]
    store.ingest(PROBE, batch)
    for kind in kinds:
        columns = tables.DECODED[kind].c
        with store.read() as connection:
            found = connection.execute(select(columns.vehicle_id).order_by(columns.seq)).scalars().all()
        assert found[0] is None and found[1] is not None


def test_a_note_counts_for_the_life_of_the_log_that_it_was_made_in(store: Store) -> None:
    send(store, 0)
    store.ingest(PROBE, [received(1), *read(2)])
    store.renew_probe(PROBE)
    store.ingest(PROBE, [received(1), *read(2)])
    assert placed(store) == [2]


def test_what_was_placed_before_a_note_stays(store: Store) -> None:
    send(store, 0)
    store.ingest(PROBE, [received(1), *read(2)])
    send(store, 5, NOON_MS + 1)
    store.ingest(PROBE, [received(6), *read(7)])
    assert placed(store) == [2, 7]


def test_the_note_goes_along_and_a_round_of_other_vehicles_there_was_never_sent(
    store: Store, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """The server's round 1 is another; a bench that pulls the probe into the server meets its readings first."""
    with Store(tmp_path_factory.mktemp("own") / "own.db") as own:
        benchdata.add_round(own, 1, [benchdata.add_vehicle(own, "Lorry")])
        benchdata.add_round(own, 2, [benchdata.add_vehicle(own, "Bus")])
        send(own, 4)
        with own.write() as connection:
            note_sent(connection, ensure_probe(connection, PROBE, NOON_MS), "round", 2, NOON_MS + 1, 9)
        assert sync(own, store).clashed_rounds == [1]
    store.ingest(PROBE, [received(5), *read(6), *[reading(seq, round_id=2) for seq in (9, 10)]], first_seq=5)
    assert placed(store) == [10]
