"""What an upgrade makes of an older history's readings, on both engines."""

from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.rounds import note_sent
from curbtick.fleet.work import assign, reread
from curbtick.store import tables
from curbtick.store.history import Store, ensure_probe
from curbtick.store.migrations import upgrade
from curbtick_wire import names
from sqlalchemy import select, text

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import NOON_MS, PROBE, anchored, reading
from tests.unit.bench.store.test_contract import server, where

__all__ = ["server", "where"]

DEAD = {"verdict": names.DEAD, "level_cdb": -4500, "reasons": 1}


def make_version_3(where: str) -> None:
    """Two vans, each read at its first position without a round, and one of them read twice in a round.

    Version 3 took the probe's word for it that the second van's reading replaced the first one's.
    """
    with Store(where) as store:
        benchdata.add_round(store, 7, [benchdata.add_vehicle(store, name) for name in ("Van 1", "Van 2")])
        with store.write() as connection:
            note_sent(connection, ensure_probe(connection, PROBE, 0), "round", 7, 0)
        in_round = {"round_id": 7, "position": 2}
        batch = [
            anchored(1, NOON_MS // 1000),
            reading(2, ticks_ms=2000, vehicle=0, **DEAD),
            reading(3, ticks_ms=9000, vehicle=0, supersedes_seq=2),
            reading(4, ticks_ms=20_000, **in_round, **DEAD),
            reading(5, ticks_ms=30_000, **in_round, supersedes_seq=4),
        ]
        store.ingest(PROBE, batch, received_ms=NOON_MS + 3_600_000)
        with store.write() as connection:
            connection.execute(text("UPDATE readings SET superseded = 1 WHERE seq = 2"))
            connection.execute(text("ALTER TABLE sends DROP COLUMN above_seq"))
            connection.execute(text("UPDATE meta SET value = '3' WHERE key = 'schema_version'"))


def test_a_reading_without_a_round_is_not_superseded_by_another_vehicles(where: str) -> None:
    """The DEAD is counted where it belongs to no van, and stands on its own once assigned.

    What a round's reading replaced stays replaced.
    """
    make_version_3(where)
    assert upgrade(where) == (3, tables.SCHEMA_VERSION)
    with Store(where) as store, store.write() as connection:
        columns = tables.readings.c
        query = select(columns.seq, columns.superseded).order_by(columns.seq)
        assert [tuple(row) for row in connection.execute(query)] == [(2, 0), (3, 0), (4, 1), (5, 0)]
        assert reread.loose_counts(connection) == {"dead": 1, "pass": 1}
        for seq, name in ((2, "Van 1"), (3, "Van 2")):
            chosen = assign.parse_range(connection, [f"{PROBE[-6:]}-{seq}"])
            assign.to_vehicle(connection, chosen, vehicles.find(connection, name), NOON_MS)
        fleet = state.of_vehicles(connection, vehicles.load(connection))
    found = {one.vehicle.name: [place.verdict for place in one.at(names.REAR)] for one in fleet}
    assert found == {
        "Van 1": ["dead", "pass", "unread", "unread"],
        "Van 2": ["pass", "unread", "unread", "unread"],
    }
