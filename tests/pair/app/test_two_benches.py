"""Two benches with histories of their own and one probe: rounds of one number, on the real firmware."""

from pathlib import Path

from curbtick.exchange.pull import pull_probe
from curbtick.exchange.send import send_round
from curbtick.fleet import rounds, vehicles
from curbtick.fleet.rounds import Round
from curbtick.fleet.vehicles import NO_SENSORS, Bumper
from curbtick.store import tables
from curbtick.store.history import Store, whole
from curbtick.store.sync import union
from sqlalchemy import select

from tests.pair.app.bench import Bench, healthy, weak


def made_round(store: Store, *names: str) -> Round:
    with store.write() as connection:
        keys = [vehicles.add(connection, name, Bumper(4, 48), NO_SENSORS, 0) for name in names]
        return rounds.make(connection, vehicles.load_in_order(connection, keys), 0)


def send(store: Store, made: Bench, round_: Round) -> None:
    with made.client() as client:
        send_round(store, client, round_)
    made.probe.run_until_idle()


def pull(store: Store, made: Bench) -> list[tuple[str | None, str]]:
    """What a history says after a pull."""
    with made.client() as client:
        pull_probe(store, client)
    return told(store)


def told(store: Store) -> list[tuple[str | None, str]]:
    """Vehicles and verdicts of every reading in the order they were taken."""
    readings, fleet = tables.readings.c, tables.vehicles.c
    query = select(fleet.name, readings.verdict).select_from(
        tables.readings.outerjoin(tables.vehicles, fleet.id == readings.vehicle_id)
    )
    with store.read() as connection:
        rows = connection.execute(query.order_by(readings.seq)).all()
    return [(row.name, "pass" if row.verdict == 1 else "weak") for row in rows]


def test_each_bench_keeps_its_own_vehicles_readings_until_they_sync(tmp_path: Path) -> None:
    made = Bench(tmp_path, round_=None)
    with Store(tmp_path / "a.db") as a, Store(tmp_path / "b.db") as b:
        first, second, theirs = made_round(a, "A-Van"), made_round(a, "A-Bus"), made_round(b, "B-Van")
        send(a, made, first)
        made.read(healthy())
        send(b, made, theirs)
        made.read(weak())
        send(a, made, second)
        made.read(healthy())
        assert pull(b, made) == [(None, "pass"), ("B-Van", "weak"), (None, "pass")]
        assert pull(a, made) == [("A-Van", "pass"), (None, "weak"), ("A-Bus", "pass")]
        union.sync(a, b)
        for store in (a, b):
            assert [name for name, _ in told(store)] == ["A-Van", "B-Van", "A-Bus"]
            assert whole.check(store) == []
    made.probe.close()
