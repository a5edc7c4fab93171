"""Assignments made in a bench's own file after it was synced arrive in the central history, on both engines."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.work import assign, findings
from curbtick.store.history import Store
from curbtick.store.sync.merge import Synced
from curbtick.store.sync.merge import sync as bring
from curbtick_wire import names

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import DAY_MS, NOON_MS, Logbook
from tests.unit.bench.fleet.fleetdata import LOW
from tests.unit.bench.store.test_contract import central, server, where

__all__ = ["central", "server", "where"]


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Store]:
    """Two vans, the first of which has four readings, the second WEAK."""
    with Store(tmp_path / "own.db") as made:
        vans = [benchdata.add_vehicle(made, name) for name in ("Van 1", "Van 2")]
        benchdata.add_round(made, 7, vans)
        bad = {2: LOW}
        Logbook(made).visit(
            NOON_MS, *({"round_id": 7, "vehicle": 1, "position": p, **bad.get(p, {})} for p in range(1, 5))
        )
        yield made


def sync(own: Store, central: Store) -> Synced:
    done = bring(own, central, settle=assign.settle)
    with central.write() as connection:
        findings.refresh(connection)
    return done


def move(store: Store, name: str, at_ms: int) -> int:
    """Assign the four readings to a van."""
    with store.write() as connection:
        chosen = assign.parse_range(connection, [f"{benchdata.PROBE[-6:]}-2..5"])
        return assign.to_vehicle(connection, chosen, vehicles.find(connection, name), at_ms, by="Ada")


def stands(store: Store) -> dict[str, list[str]]:
    with store.read() as connection:
        fleet = state.of_vehicles(connection, vehicles.load(connection))
        return {one.vehicle.name: [place.verdict for place in one.at(names.REAR)] for one in fleet}


def open_at(store: Store) -> list[tuple[str, int]]:
    with store.read() as connection:
        return [(found.vehicle, found.position) for found in findings.load(connection)]


READ, UNREAD = ["pass", "weak", "pass", "pass"], ["unread"] * 4


def test_what_was_moved_after_a_sync_moves_there_too_and_back(own: Store, central: Store) -> None:
    sync(own, central)
    assert stands(central) == {"Van 1": READ, "Van 2": UNREAD} and open_at(central) == [("Van 1", 2)]
    key = move(own, "Van 2", NOON_MS + DAY_MS)
    assert sync(own, central).work.assignments == 1
    assert stands(central) == stands(own) == {"Van 1": UNREAD, "Van 2": READ}
    assert open_at(central) == [("Van 2", 2)]
    with own.write() as connection:
        assign.undo(connection, key, NOON_MS + 2 * DAY_MS)
    assert sync(own, central).work.assignments == 0
    assert stands(central) == {"Van 1": READ, "Van 2": UNREAD} and open_at(central) == [("Van 1", 2)]


def test_an_assignment_made_before_the_first_sync_can_be_undone_there(own: Store, central: Store) -> None:
    move(own, "Van 2", NOON_MS + DAY_MS)
    assert sync(own, central).work.assignments == 1 and sync(own, central).work.assignments == 0
    assert stands(central) == {"Van 1": UNREAD, "Van 2": READ}
    with central.write() as connection:
        (there,) = assign.standing(connection)
        assert (there.by, there.readings) == ("Ada", 4)
        assign.undo(connection, there.id, NOON_MS + 2 * DAY_MS)
        findings.refresh(connection)
    assert stands(central) == {"Van 1": READ, "Van 2": UNREAD}
    sync(own, central)
    assert stands(central) == {"Van 1": READ, "Van 2": UNREAD}, "what was decided at the server last counts"


def test_a_reading_held_elsewhere_at_the_server_stays_there(own: Store, central: Store) -> None:
    sync(own, central)
    with central.write() as connection:
        third = vehicles.add(connection, "Van 3", vehicles.Bumper(4, 48), vehicles.NO_SENSORS, 0)
        chosen = assign.parse_range(connection, [f"{benchdata.PROBE[-6:]}-2..5"])
        assign.to_vehicle(connection, chosen, vehicles.load(connection, [third])[0], NOON_MS)
    move(own, "Van 2", NOON_MS + DAY_MS)
    sync(own, central)
    assert stands(central) == {"Van 1": UNREAD, "Van 2": UNREAD, "Van 3": READ}


def test_a_chain_undone_since_the_last_sync_is_undone_to_its_start(own: Store, central: Store) -> None:
    with own.write() as connection:
        vehicles.add(connection, "Van 3", vehicles.Bumper(4, 48), vehicles.NO_SENSORS, 0)
    keys = [move(own, name, NOON_MS + day * DAY_MS) for day, name in ((1, "Van 2"), (2, "Van 3"))]
    sync(own, central)
    assert stands(central) == {"Van 1": UNREAD, "Van 2": UNREAD, "Van 3": READ}
    with own.write() as connection:
        for later, key in enumerate(reversed(keys), 3):
            assign.undo(connection, key, NOON_MS + later * DAY_MS)
    assert sync(own, central).work.assignments == 0
    assert stands(central) == stands(own) == {"Van 1": READ, "Van 2": UNREAD, "Van 3": UNREAD}
    assert open_at(central) == [("Van 1", 2)]


def test_what_was_undone_and_assigned_anew_arrives_where_it_was_put_last(own: Store, central: Store) -> None:
    key = move(own, "Van 2", NOON_MS + DAY_MS)
    sync(own, central)
    with own.write() as connection:
        assign.undo(connection, key, NOON_MS + 2 * DAY_MS)
        vehicles.add(connection, "Van 3", vehicles.Bumper(4, 48), vehicles.NO_SENSORS, 0)
    move(own, "Van 3", NOON_MS + 3 * DAY_MS)
    assert sync(own, central).work.assignments == 1
    assert stands(central) == stands(own) == {"Van 1": UNREAD, "Van 2": UNREAD, "Van 3": READ}
    assert open_at(central) == [("Van 3", 2)]
