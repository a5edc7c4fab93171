"""A bench that cannot reach the server works on its own file and catches up; a probe gives up only what is stored."""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.errors import StoreError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.work import assign
from curbtick.link.download import Batch
from curbtick.link.pull import Takeover
from curbtick.store import tables
from curbtick.store.fold import times
from curbtick.store.history import Store, arrive, depots, whole
from curbtick.store.history.write import made
from curbtick.store.journal.entries import canonical
from curbtick.store.sync.union import Moved, Synced, sync
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
    reading_, vehicle = tables.readings.c, tables.vehicles.c
    query = (
        select(
            tables.probes.c.unique_id, reading_.seq, reading_.time_ms, vehicle.name, reading_.at_bumper,
            reading_.at_position, reading_.superseded, reading_.level_cdb,
        )
        .join(tables.probes, tables.probes.c.id == reading_.probe_id)
        .outerjoin(tables.vehicles, vehicle.id == reading_.vehicle_id)
        .order_by(tables.probes.c.unique_id, reading_.seq)
    )  # fmt: skip
    with store.read() as connection:
        return [tuple(row) for row in connection.execute(query)]


def test_a_bench_catches_up_once_and_says_who_pulled_when(own: Store, central: Store) -> None:
    depot_day(own)
    own.ingest(OTHER, [reading(1)], received_ms=NOON_MS, bench="van workshop", covered=(1, 4))
    own.anchor(OTHER, times.Anchor(1, 0, NOON_MS - 9000, 20))
    found = sync(own, central)
    assert found.sent.records == count(own, tables.records) and found.got == Moved()
    assert told(central) == told(own)
    assert central.stored_to(OTHER) == 4
    assert sync(own, central) == Synced()
    with central.read() as connection:
        assert "van workshop" in [bench.name for bench in depots.of_benches(connection)]
    assert whole.check(own) == whole.check(central) == []


def test_each_end_gets_what_the_other_has_and_both_say_the_same(own: Store, central: Store) -> None:
    batch = [reading(seq) for seq in range(1, 9)]
    central.ingest(PROBE, batch[:5])
    elsewhere = benchdata.add_vehicle(central, "Lorry")
    with central.write() as connection:
        (lorry,) = vehicles.load(connection, [elsewhere])
        assign.to_vehicle(connection, assign.unassigned(connection), lorry, NOON_MS)
    own.ingest(PROBE, batch[3:])
    found = sync(own, central)
    assert (found.sent.records, found.got.records) == (3, 3)
    assert [row[3] for row in told(central)] == ["Lorry"] * 5 + [None] * 3
    assert told(own) == told(central)


def test_a_vehicle_entered_at_two_benches_is_two_until_a_person_says_so(own: Store, central: Store) -> None:
    for number, store in enumerate((own, central), 1):
        benchdata.add_round(store, number, [benchdata.add_vehicle(store, "Van 1")])
        Logbook(store, (PROBE, OTHER)[number - 1]).visit(NOON_MS, {"round_id": number})
    sync(own, central)
    with own.write() as connection:
        ((one, other),) = vehicles.alike(connection)
        assert {len(readings.of_place(connection, van.id, 0, 1)) for van in (one, other)} == {1}
        vehicles.say_same(connection, one.id, other.id, NOON_MS)
    sync(own, central)
    for store in (own, central):
        with store.read() as connection:
            (van,) = vehicles.load(connection)
            assert len(readings.of_place(connection, van.id, 0, 1)) == 2
        assert whole.check(store) == []


def test_a_sync_that_breaks_off_goes_on(server: postgres.Server, own: Store, central: Store) -> None:
    for number in range(6):
        Logbook(own, f"e660c0d1c7302a2{number}").visit(NOON_MS + number * DAY_MS, {}, {}, {})

    def crash(done: int, _total: int) -> None:
        if done == 3 * 4 + 6:
            server.stop(signal.SIGQUIT)

    with pytest.raises(StoreError, match="does not answer"):
        sync(own, central, crash)
    server.start()
    sync(own, central)
    assert told(central) == told(own)
    assert count(own, tables.records) == count(central, tables.records)


def test_a_server_set_back_to_an_older_copy_gets_it_all_again(own: Store, central: Store) -> None:
    Logbook(own).visit(NOON_MS, {}, {})
    sync(own, central)
    Logbook(own, OTHER).visit(NOON_MS, {}, {})
    sync(own, central)
    with central.write() as connection:
        connection.execute(tables.records.delete().where(tables.records.c.probe == OTHER))
        connection.execute(tables.entries.delete().where(tables.entries.c.number > 1))
    whole.rebuild(central)
    assert len(told(central)) == 2
    sync(own, central)
    assert told(central) == told(own) and len(told(own)) == 4


def test_an_entry_that_is_not_understood_is_carried_and_holds_up_nothing(own: Store, central: Store) -> None:
    payloads = ({"name": "x" * 100_000}, {"number": 1 << 70}, {"name": "\0"}, ["no object"])
    with own.write() as connection:
        for number, payload in enumerate(payloads, 1):
            text = canonical(payload)
            strange = made("00000000000000aa", number, NOON_MS, None, "vehicle_painted", "{}", text)
            arrive.entries(connection, [strange])
    benchdata.add_vehicle(own, "Van 1")
    found = sync(own, central)
    assert (found.sent.entries, found.sent.unknown, found.sent.damaged) == (5, 4, 0)
    assert whole.check(central) == []


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
    stored = count(central, tables.records)
    assert probe.greeting.acknowledged_seq == central.stored_to(PROBE) == stored == 4000
