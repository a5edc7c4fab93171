"""What is said of one vehicle is that vehicle's alone, and in the order of time, however it was entered."""

import pytest
from curbtick.errors import InputError
from curbtick.fleet import readings, rounds, vehicles
from curbtick.fleet.fading import visits
from curbtick.fleet.places import state
from curbtick.fleet.probes import health
from curbtick.fleet.vehicles import Bumper
from curbtick.fleet.work import assign, past, swap
from curbtick.fleet.work import findings as worklist
from curbtick.store.history import depots
from curbtick_wire import names

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE
from tests.unit.bench.fleet.fleetdata import LATER_MS, LOW, SECOND_NAME, SECOND_PROBE, SECOND_ROUND, Yard


@pytest.fixture
def both(yard: Yard) -> Yard:
    """The van's days, which lie between the bus's: two findings of its own, a swap and an assignment."""
    yard.read(NOON_MS, {"position": 4, **LOW}, {"position": 1, "verdict": names.DEAD}, {"position": 2})
    yard.read(NOON_MS + DAY_MS, {"position": 2})
    return yard


def test_the_work_list_goes_by_vehicle_and_place(both: Yard) -> None:
    with both.store.read() as connection:
        every = worklist.load(connection)
        of_van = worklist.load(connection, vehicle_id=both.van)
    bus = [(SECOND_NAME, position) for position in (1, 2, 3)]
    assert [(one.vehicle, one.position) for one in every] == [*bus, ("Van 1", 1), ("Van 1", 4)]
    assert of_van == every[3:]


def test_steps_stand_at_their_finding_in_the_order_of_time(both: Yard) -> None:
    with both.store.read() as connection:
        steps = {(one.vehicle, one.position): one.steps for one in worklist.load(connection)}
    assert [(step.step, step.at_ms) for step in steps[SECOND_NAME, 2]] == [
        ("inspect", LATER_MS + DAY_MS),
        ("clean", LATER_MS + 3 * DAY_MS),
    ]
    assert not any(noted for place, noted in steps.items() if place != (SECOND_NAME, 2))


def test_findings_proved_since_a_time(both: Yard) -> None:
    both.read(NOON_MS + 2 * DAY_MS, {"position": 4}, {"position": 1})
    with both.store.read() as connection:
        proved = {
            days: [
                one.position
                for one in worklist.load(connection, (worklist.PROVED,), since_ms=NOON_MS + days * DAY_MS)
            ]
            for days in (0, 2, 3)
        }
        open_ = worklist.load(connection, since_ms=NOON_MS + 3 * DAY_MS)
    assert proved == {0: [1, 4], 2: [1, 4], 3: []}
    assert {one.vehicle for one in open_} == {SECOND_NAME}


def test_swaps_are_one_vehicles_oldest_first_without_those_undone(both: Yard) -> None:
    first, second = both.bus.swaps
    with both.store.read() as connection:
        of_bus = swap.of_vehicle(connection, both.bus.key)
        assert swap.of_vehicle(connection, both.van) == []
    assert [(one.id, one.position_a, one.position_b) for one in of_bus] == [(second, 1, 2), (first, 2, 3)]


def test_a_swap_ends_where_the_next_one_of_its_positions_begins(both: Yard) -> None:
    """Swapped at rear 1 and 2, then at 2 and 3: what is read after the second says nothing about the first."""
    both.bus.read(both.store, LATER_MS + 20 * DAY_MS, 1, 2, 3)
    with both.store.read() as connection:
        words = swap.in_words(connection, both.bus.key)
    assert "position 1 was not read since the swap" in words[0]
    assert "not read since" not in words[1]


def test_marks_of_a_place_are_its_own_in_the_order_of_time(both: Yard) -> None:
    with both.store.read() as connection:
        bus, van = vehicles.load(connection)
        fading = past.fading_of(connection, [bus, van])
        of_bus = {(one.bumper, one.position): one for one in past.of_vehicle(connection, bus, {}, fading)}
        assert not any(one.marks for one in past.of_vehicle(connection, van, {}, fading))
    assert [(mark.kind, mark.at_ms - LATER_MS) for mark in of_bus[names.REAR, 2].marks] == [
        ("inspect", DAY_MS),
        ("swap", 2 * DAY_MS),
        ("clean", 3 * DAY_MS),
        ("swap", 5 * DAY_MS),
    ]
    assert [mark.kind for mark in of_bus[names.REAR, 3].marks] == ["swap"]
    refits_ms = [NOON_MS - 5 * DAY_MS, LATER_MS + 7 * DAY_MS, LATER_MS + 8 * DAY_MS]
    assert [mark.at_ms for mark in of_bus[names.FRONT, 1].marks] == refits_ms


def test_readings_come_in_the_order_of_time_across_probes(both: Yard) -> None:
    with both.store.read() as connection:
        since = list(readings.since(connection, NOON_MS))
        between = readings.between(connection, NOON_MS - 9 * DAY_MS, NOON_MS + DAY_MS)
        place = readings.of_place(connection, both.bus.key, names.REAR, 2)
        (newest,) = readings.of_place(connection, both.bus.key, names.REAR, 2, newest=1)
        seen = visits.of_place(connection, (both.bus.key, names.REAR, 2))
        first_only = readings.between(connection, NOON_MS - 9 * DAY_MS, NOON_MS)
    assert [one.sort_ms for one in since] == sorted(one.sort_ms for one in since)
    assert [one.vehicle_id for one in since] == [both.van] * 4 + [both.bus.key] * 2
    assert [one.vehicle_id for one in between] == [both.bus.key] * 2 + [both.van] * 3
    assert [one.sort_ms // DAY_MS for one in place] == [NOON_MS // DAY_MS - 3, LATER_MS // DAY_MS]
    assert newest == place[1]
    assert [one.vehicle_id for one in first_only] == [both.bus.key] * 2
    assert [(visit.level_db, visit.probe_id) for visit in seen] == [(-25.0, place[0].probe_id)] * 2


def test_states_come_in_the_order_asked_for_each_with_its_own_readings(both: Yard) -> None:
    """However many later ones of the other vehicle there are."""
    for day in range(30, 36):
        both.bus.read(both.store, LATER_MS + day * DAY_MS, 1, 2)
    with both.store.read() as connection:
        bus, van = vehicles.load(connection)
        of_van, of_bus = state.of_vehicles(connection, [van, bus])
    assert [place.verdict for place in of_van.at(names.REAR)] == ["dead", "pass", "unread", "weak"]
    assert [place.verdict for place in of_bus.at(names.REAR)] == ["weak", "weak", "weak", "unread"]
    assert {place.reading.probe_id for place in of_van.places if place.reading} != {
        place.reading.probe_id for place in of_bus.places if place.reading
    }


def test_vehicles_come_by_name_with_their_newest_bumpers(both: Yard) -> None:
    with both.store.read() as connection:
        bus, van = vehicles.load(connection)
        classes = [
            vehicles.class_at(connection, both.bus.key, names.FRONT, LATER_MS + days * DAY_MS)
            for days in (-1, 7, 9)
        ]
        assert vehicles.load(connection, [both.van]) == [van]
    assert (bus.name, van.name) == (SECOND_NAME, "Van 1")
    assert (bus.bumper(names.FRONT), van.bumper(names.FRONT)) == (Bumper(2, 58), Bumper(4, 48))
    assert classes == [48, 40, 58]


def test_rounds_are_found_by_number_and_the_newest_is_found_without(both: Yard) -> None:
    with both.store.read() as connection:
        newest, first = rounds.load(connection), rounds.load(connection, 1)
    assert (newest.number, [one.name for one in newest.vehicles]) == (SECOND_ROUND, [SECOND_NAME])
    assert [one.name for one in first.vehicles] == ["Van 1"]


def test_each_probe_has_its_own_pulls_records_and_self_test(both: Yard) -> None:
    with both.store.read() as connection:
        of_probe = {one.unique_id: one for one in health.of_probes(connection, NOON_MS)}
        visits = {one.unique_id: depots.visits(connection, one.probe_id) for one in of_probe.values()}
    hour_ms = 3_600_000
    assert list(of_probe) == [PROBE, SECOND_PROBE]
    assert of_probe[PROBE].last_pull_ms == NOON_MS + DAY_MS + hour_ms
    assert of_probe[SECOND_PROBE].last_pull_ms == LATER_MS + hour_ms
    assert [one.pulls for one in visits[PROBE]] == [2]
    assert visits[SECOND_PROBE][0].first_ms == NOON_MS - 3 * DAY_MS + hour_ms


def test_assignments_stand_newest_first_and_move_their_own_readings_alone(both: Yard) -> None:
    both.book.visit(NOON_MS + 5 * DAY_MS, {"position": 1})
    both.bus.book.visit(NOON_MS + 2 * DAY_MS, {"position": 2}, {"position": 3})
    with both.store.write() as connection:
        bus, van = vehicles.load(connection)
        loose = assign.unassigned(connection)
        assert [one.position for one in loose] == [2, 3, 1], "in the order of time, not of entry"
        (last,) = assign.unassigned(connection, newest=1)
        assert last == loose[-1]
        keys = [assign.to_vehicle(connection, loose[2:], van, LATER_MS)]
        keys.append(assign.to_vehicle(connection, loose[:2], bus, LATER_MS - DAY_MS))
        moved = list(readings.by_ids(connection, [loose[0].id]).values())
        keys.append(assign.to_vehicle(connection, moved, van, LATER_MS))
        assert assign.undo(connection, keys.pop(), LATER_MS) == 1
        assert [(one.id, one.readings) for one in assign.standing(connection)] == [(keys[0], 1), (keys[1], 2)]
        assert assign.undo(connection, keys[0], LATER_MS) == 1
        assert assign.unassigned(connection) == loose[2:]
        with pytest.raises(InputError, match="to undo"):
            assign.undo(connection, keys[0], LATER_MS)
