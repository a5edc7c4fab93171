"""What became of a vehicle in a bench's own file arrives in the central history, and one vehicle stays one."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.vehicles import Bumper
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick.store.sync.merge import sync
from curbtick_wire import names
from sqlalchemy import select

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import NOON_MS, PROBE, Logbook, anchored, reading
from tests.unit.bench.store.test_contract import central, count, server, where

__all__ = ["central", "server", "where"]

SIX = Bumper(6, 48)


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "own.db") as made:
        yield made


def add(store: Store, name: str, at_ms: int = NOON_MS) -> int:
    return benchdata.add_vehicle(store, name, from_ms=at_ms, depot="North")


def rename(store: Store, key: int, name: str, at_ms: int) -> None:
    with store.write() as connection:
        vehicles.rename(connection, key, name, at_ms)


def retire(store: Store, key: int, at_ms: int) -> None:
    with store.write() as connection:
        vehicles.retire(connection, key, at_ms)


def fit(store: Store, key: int, rear: Bumper, at_ms: int) -> None:
    with store.write() as connection:
        vehicles.fit_bumper(connection, key, names.REAR, rear, at_ms)


def read(store: Store, key: int, number: int, *values: dict[str, Any]) -> None:
    """A visit of a vehicle in a round of its own, after everything else."""
    benchdata.add_round(store, number, [key])
    book = Logbook(store)
    book.boot, book.seq = number, 100 * number
    book.visit(NOON_MS + 900_000, *({"round_id": number, **fields} for fields in values))


def told(store: Store) -> list[tuple[Any, ...]]:
    """Vehicles by the name they bear now: rear positions, whether they are in service, levels read at rear 1."""
    with store.read() as connection:
        made = []
        for vehicle in vehicles.load(connection):
            columns = tables.readings.c
            query = select(columns.level_cdb).where(columns.vehicle_id == vehicle.id).order_by(columns.seq)
            levels = list(connection.execute(query).scalars())
            rear = vehicle.bumper(names.REAR).positions
            made.append((vehicle.name, rear, vehicle.retired_ms is None, levels))
        return made


def agree(own: Store, central: Store) -> None:
    """The second sync changes nothing more."""
    sync(own, central)
    assert told(central) == told(own)
    parts = [count(central, table) for table in (tables.bumpers, tables.vehicle_names, tables.vehicles)]
    sync(own, central)
    assert told(central) == told(own)
    assert parts == [
        count(central, table) for table in (tables.bumpers, tables.vehicle_names, tables.vehicles)
    ]


def test_a_refit_arrives_and_its_new_positions_are_seen(own: Store, central: Store) -> None:
    """A dead sensor at a position that the server does not know of would be shown nowhere."""
    key = add(own, "Van 1")
    sync(own, central)
    fit(own, key, SIX, NOON_MS + 1000)
    read(own, key, 7, {"position": 5, "verdict": names.DEAD, "level_cdb": -4500})
    agree(own, central)
    with central.read() as connection:
        (found,) = state.of_vehicles(connection, vehicles.load(connection))
    assert [place.verdict for place in found.at(names.REAR)] == [*["unread"] * 4, "dead", "unread"]


def test_a_refit_that_the_server_knows_to_be_newer_stands(own: Store, central: Store) -> None:
    key = add(own, "Van 1")
    sync(own, central)
    fit(own, key, Bumper(5, 48), NOON_MS + 1000)
    fit(central, 1, SIX, NOON_MS + 2000)
    for _ in range(2):
        sync(own, central)
        assert told(central) == [("Van 1", 6, True, [])]


@pytest.mark.parametrize("apart_ms", [0, 50, -50])
def test_a_renamed_vehicle_stays_one_and_its_name_goes_to_another(
    own: Store, central: Store, apart_ms: int
) -> None:
    """Entered at both ends, at once or one after the other; then the file's gets a new name, and its old one is
    given to a new vehicle.
    """
    add(central, "Van 1", NOON_MS + apart_ms)
    old = add(own, "Van 1")
    read(own, old, 7, {"level_cdb": -700})
    rename(own, old, "Van 9", NOON_MS + 1000)
    new = add(own, "Van 1", NOON_MS + 2000)
    read(own, new, 8, {"level_cdb": -900})
    agree(own, central)
    assert told(central) == [("Van 1", 4, True, [-900]), ("Van 9", 4, True, [-700])]
    with central.read() as connection:
        assert vehicles.find(connection, "van 9").id == 1


def test_a_vehicle_renamed_on_the_server_stays_one_under_its_new_name(own: Store, central: Store) -> None:
    add(central, "Van 1", NOON_MS - 50)
    rename(central, 1, "Van 9", NOON_MS + 1000)
    add(central, "Van 1", NOON_MS + 2000)
    read(own, add(own, "Van 1"), 7, {"level_cdb": -700})
    for _ in range(2):
        sync(own, central)
        assert told(central) == [("Van 1", 4, True, []), ("Van 9", 4, True, [-700])]


def test_a_former_name_finds_its_vehicle_at_the_other_end(own: Store, central: Store) -> None:
    """The file was begun after the server's renaming, by somebody who knew the old name alone."""
    add(central, "Van 1", NOON_MS - 5000)
    rename(central, 1, "Van 9", NOON_MS - 1000)
    read(own, add(own, "Van 1"), 7, {"level_cdb": -700})
    for _ in range(2):
        sync(own, central)
        assert told(central) == [("Van 9", 4, True, [-700])]


def test_of_two_renamings_the_later_one_stands_and_every_name_finds_it(own: Store, central: Store) -> None:
    key = add(own, "Van 1")
    sync(own, central)
    rename(central, 1, "Van 5", NOON_MS + 1000)
    rename(own, key, "Van 9", NOON_MS + 2000)
    agree(own, central)
    with central.read() as connection:
        assert {vehicles.find(connection, name).id for name in ("Van 1", "Van 5", "Van 9")} == {1}


def test_a_retirement_arrives_and_the_name_goes_to_another(own: Store, central: Store) -> None:
    old = add(own, "Van 1")
    sync(own, central)
    read(own, old, 7, {"level_cdb": -700})
    retire(own, old, NOON_MS + 1000)
    new = add(own, "Van 1", NOON_MS + 2000)
    read(own, new, 8, {"level_cdb": -900})
    agree(own, central)
    assert told(central) == [("Van 1", 4, False, [-700]), ("Van 1", 4, True, [-900])]


def test_of_two_that_carry_the_name_on_the_server_the_one_in_service_is_meant(
    own: Store, central: Store
) -> None:
    add(central, "Van 1", NOON_MS - 2000)
    retire(central, 1, NOON_MS + 1000)
    add(central, "Van 1", NOON_MS + 2000)
    read(own, add(own, "Van 1"), 7, {"level_cdb": -700})
    sync(own, central)
    assert told(central) == [("Van 1", 4, False, []), ("Van 1", 4, True, [-700])]


def test_a_second_vehicle_that_an_earlier_sync_made_keeps_its_readings(own: Store, central: Store) -> None:
    """Older versions brought a renamed vehicle as a new one: what is there stays there."""
    key = add(own, "Van 1")
    sync(own, central)
    rename(own, key, "Van 9", NOON_MS + 1000)
    add(central, "Van 9")
    read(own, key, 7, {"level_cdb": -700})
    for _ in range(2):
        sync(own, central)
        assert told(central) == [("Van 1", 4, True, []), ("Van 9", 4, True, [-700])]


def test_a_reading_that_was_superseded_is_marked_whichever_file_comes_first(
    own: Store, central: Store, tmp_path: Path
) -> None:
    with Store(tmp_path / "other.db") as other:
        for store in (own, other):
            benchdata.add_round(store, 7, [add(store, "Van 1")])
        first = reading(2, ticks_ms=1000, round_id=7)
        again = reading(3, ticks_ms=2000, round_id=7, verdict=names.DEAD, supersedes_seq=2)
        own.ingest(PROBE, [anchored(1, NOON_MS // 1000, ticks_ms=0), first], received_ms=NOON_MS + 900_000)
        other.ingest(PROBE, [again], received_ms=NOON_MS + 900_000)
        sync(other, central)
        sync(own, central)
    columns = tables.readings.c
    with central.read() as connection:
        query = select(columns.seq, columns.superseded).order_by(columns.seq)
        assert [tuple(row) for row in connection.execute(query)] == [(2, 1), (3, 0)]
