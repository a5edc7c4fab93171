"""What a history promises, on both engines: a SQLite file and a real PostgreSQL."""

import hashlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from curbtick.errors import InputError, StoreError
from curbtick.fleet.work import findings
from curbtick.report import build
from curbtick.store import keys, tables
from curbtick.store.fold import times
from curbtick.store.history import Store, depots, whole
from curbtick.store.schema import upgrade, version_of
from curbtick.store.sync import union
from curbtick_wire import names
from sqlalchemy import func, select

from tests import programs
from tests.pair.postgres import server as postgres
from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, Logbook, anchored, reading

OTHER = "e660c0d1c7302a12"


@pytest.fixture(scope="module")
def server() -> Iterator[postgres.Server]:
    programs.needed(programs.POSTGRESQL)
    with postgres.running() as made:
        yield made


@pytest.fixture
def central(where: str) -> Iterator[Store]:
    """The history that benches' files are brought to, on either engine."""
    with Store(where) as made:
        yield made


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A history of either engine, by file or URL."""
    if request.param == "sqlite":
        return str(tmp_path / "history.db")
    made: str = request.getfixturevalue("server").new_history()
    return made


@pytest.fixture
def store(where: str) -> Iterator[Store]:
    with Store(where) as made:
        yield made


def count(store: Store, table=tables.readings) -> int:  # type: ignore[no-untyped-def]
    with store.read() as connection:
        return int(connection.scalar(select(func.count()).select_from(table)))


def test_every_record_once_and_the_digest_of_what_may_be_acknowledged(store: Store) -> None:
    batch = [reading(seq) for seq in (1, 2, 3, 5)]
    assert store.ingest(PROBE, batch)[:2] == (3, hashlib.sha256(b"".join(batch[:3])).digest())
    late = reading(4)
    assert store.ingest(PROBE, [late, *batch], first_seq=1)[0] == 5
    assert store.digest(PROBE, 4, 5) == hashlib.sha256(late + batch[3]).digest()
    assert count(store) == count(store, tables.records) == store.record_count(PROBE) == 5


def test_markers_become_null_and_times_follow_late_anchors(store: Store) -> None:
    store.ingest(PROBE, [reading(1, ticks_ms=2000, frequency_hz=0)], received_ms=NOON_MS)
    store.anchor(PROBE, times.Anchor(1, 10_000, NOON_MS, 30))
    store.ingest(PROBE, [anchored(2, NOON_MS // 1000 + 5, ticks_ms=15_000, uncertainty_ms=10)])
    with store.read() as connection:
        row = connection.execute(select(tables.readings)).one()
    assert (row.time_ms, row.frequency_hz, row.level_cdb) == (NOON_MS - 8000, None, -800)


def test_benches_at_once_store_each_record_once(store: Store) -> None:
    """Overlapping batches of two probes, from eight threads with a connection each."""

    def pull(low: int) -> None:
        for first in range(low, low + 60, 10):
            batch = [reading(seq) for seq in range(first, first + 15)]
            store.ingest((OTHER, PROBE)[low % 2], batch, bench=f"bench {low}")

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(pull, (1, 2, 11, 12, 21, 22, 31, 32)))
    assert count(store) == count(store, tables.records) == 2 * 95
    assert (store.stored_to(PROBE), store.stored_to(OTHER, 2)) == (95, 96)
    assert store.record_count(PROBE) == store.record_count(OTHER) == 95


def test_one_read_sees_one_state(store: Store) -> None:
    store.ingest(PROBE, [reading(1)])
    with store.read() as connection:
        query = select(func.count()).select_from(tables.readings)
        before = connection.scalar(query)
        store.ingest(PROBE, [reading(2)])
        assert connection.scalar(query) == before
    assert count(store) == 2


def test_who_pulled_what_and_when_and_how_a_probe_wanders(store: Store) -> None:
    store.ingest(PROBE, [reading(1)], received_ms=NOON_MS, bench="north")
    store.ingest(PROBE, [reading(1), reading(2)], received_ms=NOON_MS + DAY_MS, bench="south")
    store.ingest(OTHER, [reading(1)], received_ms=NOON_MS + 2 * DAY_MS, bench="south")
    with store.write() as connection:
        depots.place_bench(connection, "south", "Harbour", NOON_MS)
        with pytest.raises(InputError, match="No bench west"):
            depots.place_bench(connection, "west", "Harbour", NOON_MS)
    with store.read() as connection:
        assert depots.of_benches(connection) == [
            ("north", None, 1, 1, 1, NOON_MS),
            ("south", "Harbour", 2, 2, 2, NOON_MS + 2 * DAY_MS),
        ]
        assert [(v.bench, v.depot) for v in depots.visits(connection, keys.of_log(PROBE, 0))] == [
            ("north", None),
            ("south", "Harbour"),
        ]


def depot_day(store: Store) -> None:
    """Two vehicles, a round, three visits, one weak sensor."""
    keys = [benchdata.add_vehicle(store, name, depot="Harbour") for name in ("Van 1", "van 2")]
    benchdata.add_round(store, 7, keys, "Ada")
    book = Logbook(store)
    for day in range(3):
        readings = [
            {"round_id": 7, "vehicle": v, "position": p, "level_cdb": -800 - 10 * p, "bumper": b}
            for v in (1, 2)
            for b in (0, 1)
            for p in (1, 2, 3, 4)
        ]
        readings[5].update(verdict=names.WEAK, level_cdb=-2300, reasons=1)
        book.visit(NOON_MS + day * DAY_MS, *readings)
    with store.write() as connection:
        findings.refresh(connection)


def test_both_engines_tell_the_same_report(server: postgres.Server, tmp_path: Path) -> None:
    """Every page, byte for byte."""
    with Store(tmp_path / "a.db") as file, Store(server.new_history()) as central:
        depot_day(file)
        union.copy(file, central)
        assert whole.check(central) == []
        for name, store in (("file", file), ("server", central)):
            build(store, tmp_path / name, NOON_MS + 2 * DAY_MS - 43_200_000, NOON_MS + 3 * DAY_MS)
    pages = sorted(path.name for path in (tmp_path / "file").iterdir() if path.is_file())
    assert len(pages) > 5
    assert pages == sorted(path.name for path in (tmp_path / "server").iterdir() if path.is_file())
    for page in pages:
        assert (tmp_path / "file" / page).read_bytes() == (tmp_path / "server" / page).read_bytes(), page


def test_a_newer_history_is_refused_and_not_upgraded(store: Store, where: str) -> None:
    with store.write() as connection:
        mark = tables.meta.update().where(tables.meta.c.key == "schema_version")
        connection.execute(mark.values(value="99"))
    with pytest.raises(StoreError, match="version 99"):
        Store(where)
    with pytest.raises(StoreError, match="version 99"):
        upgrade(where)
    assert version_of(where) == 99
