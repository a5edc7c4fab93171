"""A bench that cannot reach the server works on its own file and catches up; a probe gives up only what is stored."""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.errors import StoreError
from curbtick.link.download import Batch
from curbtick.link.pull import Takeover
from curbtick.store import depots, tables
from curbtick.store.history import Store
from curbtick.store.sync.merge import sync
from sqlalchemy import select

from tests.pair.postgres import server as postgres
from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, Logbook, anchored, reading
from tests.unit.bench.fake_client import FakeClient
from tests.unit.bench.store.test_contract import OTHER, count, depot_day, server

__all__ = ["server"]


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "own.db") as made:
        yield made


@pytest.fixture
def central(server: postgres.Server) -> Iterator[Store]:
    with Store(server.new_history()) as made:
        yield made


def told(store: Store) -> list[tuple[object, ...]]:
    """Readings with their vehicle, place and time, as a report would tell them."""
    readings, vehicles = tables.readings.c, tables.vehicles.c
    query = (
        select(
            tables.probes.c.unique_id, readings.seq, readings.time_ms, vehicles.name, readings.at_bumper,
            readings.at_position, readings.superseded, readings.level_cdb,
        )
        .join(tables.probes, tables.probes.c.id == readings.probe_id)
        .outerjoin(tables.vehicles, vehicles.id == readings.vehicle_id)
        .order_by(tables.probes.c.unique_id, readings.seq)
    )  # fmt: skip
    with store.read() as connection:
        return [tuple(row) for row in connection.execute(query)]


def test_a_bench_catches_up_once_and_says_who_pulled_when(own: Store, central: Store) -> None:
    depot_day(own)
    own.ingest(OTHER, [reading(1)], received_ms=NOON_MS, bench="van workshop", covered=(1, 4))
    own.anchor(OTHER, 1, 0, NOON_MS - 9000, 20)
    found = sync(own, central)
    assert (found.new, found.doubled, found.clashed_rounds) == (count(own, tables.log), 0, [])
    assert told(central) == told(own)
    assert central.stored_to(OTHER) == 4
    assert sync(own, central).pulls == 0
    with central.read() as connection:
        assert "van workshop" in [bench.name for bench in depots.of_benches(connection)]


def test_what_the_server_has_already_is_not_doubled_and_not_moved(own: Store, central: Store) -> None:
    batch = [reading(seq) for seq in range(1, 9)]
    central.ingest(PROBE, batch[:5])
    elsewhere = benchdata.add_vehicle(central, "Lorry")
    with central.write() as connection:
        connection.execute(tables.readings.update().values(vehicle_id=elsewhere))
    own.ingest(PROBE, batch[3:])
    found = sync(own, central)
    assert (found.new, found.doubled) == (3, 2)
    assert [row[3] for row in told(central)] == ["Lorry"] * 5 + [None] * 3


def test_a_round_made_twice_leaves_readings_with_their_own_vehicles(own: Store, central: Store) -> None:
    benchdata.add_round(central, 7, [benchdata.add_vehicle(central, "Lorry")])
    benchdata.add_round(own, 7, [benchdata.add_vehicle(own, "Van")])
    Logbook(own).visit(NOON_MS, {"round_id": 7, "vehicle": 1})
    assert sync(own, central).clashed_rounds == [7]
    assert [row[3] for row in told(central)] == ["Van"]


def test_a_sync_that_breaks_off_goes_on(server: postgres.Server, own: Store, central: Store) -> None:
    book = Logbook(own)
    for day in range(6):
        book.visit(NOON_MS + day * DAY_MS, {}, {}, {})

    def crash(done: int, _total: int) -> None:
        if done == 3:
            server.stop(signal.SIGQUIT)

    with pytest.raises(StoreError, match="does not answer"):
        sync(own, central, crash)
    server.start()
    found = sync(own, central)
    assert told(central) == told(own)
    assert found.new + found.doubled == count(own, tables.log) == count(central, tables.log)


def test_a_server_set_back_to_an_older_copy_gets_it_all_again(own: Store, central: Store) -> None:
    Logbook(own).visit(NOON_MS, {}, {})
    sync(own, central)
    with central.write() as connection:
        for table in (tables.readings, tables.events, tables.log, tables.runs):
            connection.execute(table.delete())
    sync(own, central)
    assert told(central) == told(own)


def test_a_probe_gives_up_only_what_the_server_has_on_its_disk(
    server: postgres.Server, central: Store
) -> None:
    """The server crashes before a batch; what was acknowledged is there after its recovery, the rest on the probe."""
    raws = [anchored(1, NOON_MS // 1000), *(reading(seq) for seq in range(2, 4001))]
    probe = FakeClient(dict(enumerate(raws, 1)), batch_size=500)

    def commit(batch: Batch) -> None:
        if batch.first_seq == 2501:
            server.stop(signal.SIGQUIT)
        central.ingest(PROBE, batch.raws, covered=(batch.first_seq, batch.last_seq))

    with pytest.raises(StoreError, match="does not answer"):
        Takeover(probe, commit, None, None).run(None)
    server.start()
    assert 0 < probe.greeting.acknowledged_seq <= central.stored_to(PROBE) <= 2500

    def again(batch: Batch) -> None:
        central.ingest(PROBE, batch.raws, covered=(batch.first_seq, batch.last_seq))

    Takeover(probe, again, None, None).run(None)
    assert probe.greeting.acknowledged_seq == central.stored_to(PROBE) == count(central, tables.log) == 4000
