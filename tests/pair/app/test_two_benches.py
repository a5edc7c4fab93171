"""Two benches with histories of their own and one probe: rounds of one number, on the real firmware."""

from pathlib import Path

from curbtick.exchange.pull import pull_probe
from curbtick.exchange.send import send_round
from curbtick.fleet import rounds, vehicles
from curbtick.fleet.rounds import Round
from curbtick.fleet.vehicles import NO_SENSORS, Bumper
from curbtick.store import tables
from curbtick.store.history import Store
from sqlalchemy import select

from tests.pair.app.bench import Bench, healthy, weak


def made_round(store: Store, *names: str) -> Round:
    with store.write() as connection:
        keys = [vehicles.add(connection, name, Bumper(4, 48), NO_SENSORS, 0) for name in names]
        return rounds.make(connection, vehicles.load_in_order(connection, keys), 0)


def send(store: Store, made: Bench, round_: Round) -> int:
    with made.client() as client:
        sent = send_round(store, client, round_)
    made.probe.run_until_idle()
    return sent.number


def pull(store: Store, made: Bench) -> list[tuple[str | None, str]]:
    """Vehicles and verdicts of every reading in the order they were taken, after a pull."""
    with made.client() as client:
        pull_probe(store, client)
    readings, fleet = tables.readings.c, tables.vehicles.c
    query = select(fleet.name, readings.verdict).select_from(
        tables.readings.outerjoin(tables.vehicles, fleet.id == readings.vehicle_id)
    )
    with store.read() as connection:
        rows = connection.execute(query.order_by(readings.seq)).all()
    return [(row.name, "pass" if row.verdict == 1 else "weak") for row in rows]


def test_each_bench_keeps_its_own_vehicles_readings(tmp_path: Path) -> None:
    made = Bench(tmp_path, round_=None)
    with Store(tmp_path / "a.db") as a, Store(tmp_path / "b.db") as b:
        first, second, theirs = made_round(a, "A-Van"), made_round(a, "A-Bus"), made_round(b, "B-Van")
        assert (first.number, second.number, theirs.number) == (1, 2, 1)
        assert send(a, made, first) == 1
        made.read(healthy())
        assert send(b, made, theirs) == 2, "the probe has the first bench's round 1"
        made.read(weak())
        assert send(a, made, second) == 3, "and now the second bench's round 2"
        made.read(healthy())
        assert pull(b, made) == [(None, "pass"), ("B-Van", "weak"), (None, "pass")]
        assert pull(a, made) == [("A-Van", "pass"), (None, "weak"), ("A-Bus", "pass")]
    made.probe.close()


def test_a_number_that_comes_again_after_others_is_told_apart_by_the_log(tmp_path: Path) -> None:
    """The probe holds another round by then, and the second bench has pulled nothing of it: round 1 goes twice."""
    made = Bench(tmp_path, round_=None)
    with Store(tmp_path / "a.db") as a, Store(tmp_path / "b.db") as b:
        first, second, theirs = made_round(a, "A-Van"), made_round(a, "A-Bus"), made_round(b, "B-Van")
        send(a, made, first)
        made.read(healthy())
        send(a, made, second)
        assert send(b, made, theirs) == 1
        made.read(weak())
        assert pull(b, made) == [(None, "pass"), ("B-Van", "weak")]
        assert pull(a, made) == [("A-Van", "pass"), (None, "weak")]
    made.probe.close()
