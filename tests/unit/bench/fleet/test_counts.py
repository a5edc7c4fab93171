"""Which reading counts at a place, which verdict stands, and what proves a repair: the cases that could pass a blind
sensor.
"""

import re
from typing import Any

import pytest
from curbtick.fleet import readings, vehicles
from curbtick.fleet.places import state
from curbtick.fleet.work import assign, findings
from curbtick_wire import names
from sqlalchemy import event

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, Logbook, add_vehicle, reading
from tests.unit.bench.fleet.fleetdata import LOW, SILENT, Yard

OTHER_PROBE = "e660c0d1c7302b22"
DEAD = {"verdict": names.DEAD, "reasons": names.mask_of(names.REASONS, ["only_neighbour"])}
BELOW = names.mask_of(names.REASONS, ["below_siblings"])


def stands(yard: Yard, vehicle: int | None = None) -> list[str]:
    """The verdicts of the rear bumper, left to right."""
    with yard.store.read() as connection:
        chosen = vehicles.load(connection, [vehicle or yard.van])
        return [place.verdict for place in state.of_vehicles(connection, chosen)[0].at(names.REAR)]


def weak_by_siblings(yard: Yard) -> list[int]:
    """A visit whose second position is WEAK by the bumper result alone, and its fourth by itself."""
    seqs = yard.read(NOON_MS, *({"position": p} for p in (1, 2, 3)), {"position": 4, **LOW})
    verdicts = [names.PASS, names.WEAK, names.PASS, names.WEAK]
    yard.result(names.BUMPER_REPAIR, verdicts, [0, BELOW, 0, 1], seqs)
    return seqs


def refresh(yard: Yard) -> None:
    with yard.store.write() as connection:
        findings.refresh(connection)


def open_at(yard: Yard) -> list[tuple[int, int]]:
    """(vehicle key, position) of the findings to be done, the bus's apart."""
    return [(one.vehicle_id, one.position) for one in beside_the_bus(yard, *findings.UNPROVED)]


def beside_the_bus(yard: Yard, *wanted: str) -> list[findings.Finding]:
    """Findings in these states of every vehicle but the bus."""
    with yard.store.read() as connection:
        return [one for one in findings.load(connection, wanted) if one.vehicle_id != yard.bus.key]


def test_one_position_read_again_leaves_the_others_as_the_bumper_result_had_them(yard: Yard) -> None:
    weak_by_siblings(yard)
    (last,) = yard.read(NOON_MS + DAY_MS, {"position": 4})
    later = [names.RETRY] * 3 + [names.PASS]
    yard.result(names.BUMPER_INCOMPLETE, later, [0] * 4, [0, 0, 0, last])
    assert stands(yard) == ["pass", "weak", "pass", "pass"]
    assert open_at(yard) == [(yard.van, 2)]


def test_a_finding_is_not_proved_by_the_reading_that_opened_it(yard: Yard) -> None:
    seqs = weak_by_siblings(yard)
    yard.result(names.BUMPER_ALL_PASS, [names.PASS] * 4, [0] * 4, seqs)
    assert stands(yard) == ["pass"] * 4
    assert open_at(yard) == [(yard.van, 2), (yard.van, 4)]


def test_a_reading_of_unknown_date_does_not_hide_a_worse_one_of_a_known_date(yard: Yard) -> None:
    other = Logbook(yard.store, OTHER_PROBE)
    other.visit(NOON_MS + 2 * DAY_MS, {"round_id": 1, "position": 1, **DEAD})
    refresh(yard)
    undated(yard, pulled_ms=NOON_MS + 4 * DAY_MS)
    assert stands(yard)[0] == "dead"
    assert open_at(yard) == [(yard.van, 1)]


def undated(yard: Yard, pulled_ms: int, **fields: Any) -> None:
    """A reading of a start without an anchor, pulled at a time."""
    yard.book.visit(pulled_ms - 3_600_000, {"round_id": 1, "position": 1, **fields}, anchor=False)
    refresh(yard)


def test_a_reading_surely_before_another_does_not_count(yard: Yard) -> None:
    undated(yard, NOON_MS, **LOW)
    other = Logbook(yard.store, OTHER_PROBE)
    other.visit(NOON_MS + DAY_MS, {"round_id": 1, "position": 1})
    assert stands(yard)[0] == "pass"


def test_one_probe_s_readings_are_in_its_own_order_whatever_its_clock_was_told(yard: Yard) -> None:
    yard.read(NOON_MS + 30 * DAY_MS, {"position": 1})
    yard.read(NOON_MS + DAY_MS, {"position": 1, **DEAD})
    assert stands(yard)[0] == "dead"
    assert open_at(yard) == [(yard.van, 1)]


@pytest.mark.parametrize("times", [3, 4, 9])
def test_a_clock_put_right_hides_no_dead_however_often_the_place_was_read_before(
    yard: Yard, times: int
) -> None:
    yard.read(NOON_MS - DAY_MS, *({"position": 1} for _ in range(times)))
    yard.read(NOON_MS + 30 * DAY_MS, *({"position": 1} for _ in range(times)))
    yard.read(NOON_MS + DAY_MS, {"position": 1, **DEAD})
    yard.read(NOON_MS + 2 * DAY_MS, {"position": 2})
    assert stands(yard)[0] == "dead"
    yard.read(NOON_MS + 3 * DAY_MS, {"position": 1})
    assert stands(yard)[0] == "pass"


@pytest.mark.parametrize("times", [3, 4, 9])
def test_readings_of_unknown_date_hide_no_dead_however_many_there_are(yard: Yard, times: int) -> None:
    yard.read(NOON_MS, {"position": 2})
    other = Logbook(yard.store, OTHER_PROBE)
    other.visit(NOON_MS + 2 * DAY_MS, {"round_id": 1, "position": 1, **DEAD})
    for _ in range(times):
        undated(yard, pulled_ms=NOON_MS + 4 * DAY_MS)
    assert stands(yard)[0] == "dead"


def test_the_last_of_one_undated_start_counts_whichever_came_first(yard: Yard) -> None:
    dead = reading(9, 1, 9000, round_id=1, position=1, **DEAD)
    earlier = [reading(seq, 1, 1000 * seq, round_id=1, position=1) for seq in (2, 3, 4, 5)]
    for batch in ([dead], earlier):
        yard.store.ingest(PROBE, batch, received_ms=NOON_MS)
        refresh(yard)
    assert stands(yard)[0] == "dead"


def test_a_pass_that_may_be_older_than_the_repair_proves_nothing(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1, **LOW})
    with yard.store.write() as connection:
        findings.note(connection, yard.findings()[0].id, "replace", NOON_MS + 2 * DAY_MS)
    undated(yard, pulled_ms=NOON_MS + 4 * DAY_MS)
    assert [found.state for found in yard.findings()] == ["done"]
    yard.read(NOON_MS + 5 * DAY_MS, {"position": 1})
    assert [found.state for found in yard.findings()] == ["proved"]


def test_an_undated_pass_after_the_fault_proves_it_gone_by_the_probe_s_own_order(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1, **LOW})
    undated(yard, pulled_ms=NOON_MS + DAY_MS)
    assert [found.state for found in yard.findings()] == ["proved"]


def assigned(yard: Yard, seqs: list[int], vehicle: int, **more: Any) -> int:
    """Assign a range of readings to a vehicle; the assignment's key."""
    with yard.store.write() as connection:
        chosen = assign.parse_range(connection, [f"{PROBE[-6:]}-{seqs[0]}..{seqs[-1]}"])
        key = assign.to_vehicle(connection, chosen, vehicles.load(connection, [vehicle])[0], NOON_MS, **more)
        findings.refresh(connection)
    return key


def test_bumper_result_and_findings_go_where_the_readings_go_and_back(yard: Yard) -> None:
    seqs = weak_by_siblings(yard)
    right = add_vehicle(yard.store, "Van 2")
    key = assigned(yard, seqs, right)
    assert stands(yard) == ["unread"] * 4 and stands(yard, right) == ["pass", "weak", "pass", "weak"]
    assert open_at(yard) == [(right, 2), (right, 4)]
    with yard.store.write() as connection:
        assign.undo(connection, key, NOON_MS)
        findings.refresh(connection)
    assert stands(yard) == ["pass", "weak", "pass", "weak"] and stands(yard, right) == ["unread"] * 4
    assert open_at(yard) == [(yard.van, 2), (yard.van, 4)]


def test_a_silent_bumper_goes_where_its_readings_go(yard: Yard) -> None:
    seqs = yard.read(NOON_MS, *({"position": p, **SILENT} for p in range(1, 5)))
    yard.result(names.BUMPER_NOT_TRANSMITTING, [names.RETRY] * 4, [1 << 16] * 4, seqs)
    right = add_vehicle(yard.store, "Van 2")
    assigned(yard, seqs, right)
    assert yard.state().worst == "unread"
    assert open_at(yard) == [(right, 0)]


def replaced(yard: Yard) -> int:
    """Position 1 read DEAD, its sensor replaced; the finding's key."""
    yard.read(NOON_MS, {"position": 1, **DEAD})
    key = yard.findings()[0].id
    with yard.store.write() as connection:
        findings.note(connection, key, "replace", NOON_MS + DAY_MS, "Ann", "part 4711")
    return key


def states(yard: Yard) -> list[tuple[int, str, int]]:
    """(vehicle, state, number of steps) of every finding, in the order of their making."""
    every = beside_the_bus(yard, *findings.UNPROVED, findings.PROVED)
    return [(one.vehicle_id, one.state, len(one.steps)) for one in sorted(every, key=lambda one: one.id)]


def undo(yard: Yard, assignment: int) -> None:
    with yard.store.write() as connection:
        assign.undo(connection, assignment, NOON_MS)
        findings.refresh(connection)


def test_a_proof_that_was_another_vehicle_s_leaves_the_repair_to_be_proved(yard: Yard) -> None:
    replaced(yard)
    passed = yard.read(NOON_MS + 2 * DAY_MS, {"position": 1})
    assert states(yard) == [(yard.van, "proved", 1)]
    key = assigned(yard, passed, add_vehicle(yard.store, "Van 2"))
    (finding,) = yard.findings()
    assert (finding.state, finding.proved_ms, finding.proved_by_id) == ("done", None, None)
    undo(yard, key)
    assert states(yard) == [(yard.van, "proved", 1)]


def test_a_proof_without_a_repair_that_was_another_vehicle_s_leaves_it_open(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1, **DEAD})
    passed = yard.read(NOON_MS + DAY_MS, {"position": 1})
    assigned(yard, passed, add_vehicle(yard.store, "Van 2"))
    assert states(yard) == [(yard.van, "open", 0)]


def test_an_assignment_undone_brings_a_finding_back_with_its_steps(yard: Yard) -> None:
    replaced(yard)
    right = add_vehicle(yard.store, "Van 2")
    key = assigned(yard, yard.seqs, right)
    assert states(yard) == [(right, "open", 0)]
    undo(yard, key)
    assert states(yard) == [(yard.van, "done", 1)]


def test_a_whole_story_that_was_another_vehicle_s_is_withdrawn_and_comes_back(yard: Yard) -> None:
    replaced(yard)
    first = yard.seqs
    second = yard.read(NOON_MS + 2 * DAY_MS, {"position": 1})
    right = add_vehicle(yard.store, "Van 2")
    one, two = assigned(yard, first, right), assigned(yard, second, right)
    assert [one[0] for one in states(yard)] == [right]
    undo(yard, two)
    undo(yard, one)
    assert states(yard)[0] == (yard.van, "proved", 1)


def test_a_place_has_one_finding_to_be_done_whatever_comes_back(yard: Yard) -> None:
    replaced(yard)
    passed = yard.read(NOON_MS + 2 * DAY_MS, {"position": 1})
    yard.read(NOON_MS + 3 * DAY_MS, {"position": 1, **LOW})
    assigned(yard, passed, add_vehicle(yard.store, "Van 2"))
    assert states(yard) == [(yard.van, "open", 1)]


def test_vehicles_read_without_a_round_do_not_supersede_each_other(yard: Yard) -> None:
    first = yard.book.visit(NOON_MS, *({"position": p} for p in range(1, 5)))
    again = [{"position": p, "supersedes_seq": first[p - 1], **(LOW if p == 2 else {})} for p in range(1, 5)]
    second = yard.book.visit(NOON_MS + DAY_MS, *again)
    right = add_vehicle(yard.store, "Van 2")
    assigned(yard, first, yard.van, first_position=1)
    assigned(yard, second, right, first_position=1)
    assert stands(yard) == ["pass"] * 4 and stands(yard, right) == ["pass", "weak", "pass", "pass"]
    with yard.store.read() as connection:
        every = [one for v in (yard.van, right) for one in readings.of_place(connection, v, names.REAR, 2)]
    assert [one.superseded for one in every] == [False, False]


def test_a_reading_taken_again_without_a_round_supersedes_and_a_skipped_position_stays_free(
    yard: Yard,
) -> None:
    visit = [{"position": 1}, {"position": 1, "supersedes_seq": 2, **LOW}, {"position": 3}]
    seqs = yard.book.visit(NOON_MS, *visit)
    assigned(yard, seqs, yard.van, first_position=2)
    assert stands(yard) == ["unread", "weak", "unread", "pass"]
    with yard.store.read() as connection:
        at_two = readings.of_place(connection, yard.van, names.REAR, 2)
    assert [one.superseded for one in at_two] == [True, False]


def test_six_sensors_read_without_a_round_are_counted_on_past_the_probe_s_four(yard: Yard) -> None:
    six = add_vehicle(yard.store, "Van 6", positions=6)
    rear = [{"position": p} for p in range(1, 5)]
    front = [{"bumper": names.FRONT, "position": 1, **LOW}, {"bumper": names.FRONT, "position": 2}]
    seqs = yard.book.visit(NOON_MS, *rear, *front)
    assigned(yard, seqs, six, bumper=names.REAR, first_position=1)
    assert stands(yard, six) == ["pass"] * 4 + ["weak", "pass"]


def reasons_at(yard: Yard, position: int) -> tuple[str, ...]:
    return next(one.reasons for one in yard.state().at(names.REAR) if one.position == position)


def test_a_bumper_result_holds_for_its_readings_though_one_of_them_was_another_vehicle_s(yard: Yard) -> None:
    seqs = weak_by_siblings(yard)
    right = add_vehicle(yard.store, "Van 2")
    assigned(yard, seqs[3:], right)
    assert stands(yard) == ["pass", "weak", "pass", "unread"] and reasons_at(yard, 2) == ("below_siblings",)
    assert stands(yard, right) == ["unread"] * 3 + ["weak"]
    assert open_at(yard) == [(yard.van, 2), (right, 4)]


def test_a_bumper_result_holds_though_only_some_of_its_readings_were_assigned(yard: Yard) -> None:
    seqs = yard.book.visit(NOON_MS, *({"position": p} for p in (1, 2, 3, 4)))
    yard.result(names.BUMPER_REPAIR, [1, names.WEAK, 1, 1], [0, BELOW, 0, 0], seqs, round_id=0)
    assigned(yard, seqs[:3], yard.van)
    assert stands(yard) == ["pass", "weak", "pass", "unread"]


def test_a_silent_bumper_s_reading_assigned_elsewhere_hides_no_fault_there(yard: Yard) -> None:
    dead = yard.book.visit(NOON_MS, {"position": 1, **DEAD})
    seqs = yard.read(NOON_MS + DAY_MS, *({"position": p, **SILENT} for p in range(1, 5)))
    yard.result(names.BUMPER_NOT_TRANSMITTING, [names.RETRY] * 4, [1 << 16] * 4, seqs)
    right = add_vehicle(yard.store, "Van 2")
    with yard.store.write() as connection:
        (van,) = vehicles.load(connection, [right])
        chosen = [readings.by_ref(connection, f"{PROBE[-6:]}-{seq}") for seq in (*dead, seqs[3])]
        assign.to_vehicle(connection, chosen, van, NOON_MS + 2 * DAY_MS)
    refresh(yard)
    assert open_at(yard) == [(yard.van, 0), (right, 0), (right, 1)]


def test_a_bumper_result_made_after_a_restart_holds_and_each_boot_s_own_too(yard: Yard) -> None:
    first = yard.read(NOON_MS, *({"position": p} for p in (1, 2)))
    second = yard.read(NOON_MS + 600_000, *({"position": p} for p in (3, 4)))
    yard.result(names.BUMPER_REPAIR, [names.WEAK, 1, 1, 1], [BELOW, 0, 0, 0], [*first, *second])
    for day in (1, 2):
        front = yard.read(
            NOON_MS + day * DAY_MS, *({"bumper": names.FRONT, "position": p} for p in (1, 2, 3, 4))
        )
        yard.result(names.BUMPER_ALL_PASS, [1] * 4, [0] * 4, front, bumper=names.FRONT)
    assert stands(yard) == ["weak", "pass", "pass", "pass"]


def test_no_table_that_grows_with_the_history_is_read_through_for_how_vehicles_stand(yard: Yard) -> None:
    weak_by_siblings(yard)
    yard.read(NOON_MS + 30 * DAY_MS, *({"position": 1} for _ in range(4)))
    yard.read(NOON_MS + DAY_MS, {"position": 1, **DEAD})
    plans: list[str] = []

    def explain(_connection: Any, cursor: Any, statement: str, parameters: Any, *_: Any) -> None:
        plans.extend(
            row[3] for row in cursor.execute(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()
        )

    with yard.store.read() as connection:
        chosen = vehicles.load(connection)
        event.listen(connection, "before_cursor_execute", explain)
        state.of_vehicles(connection, chosen)
    assert any("at_position=? AND sort_ms>?" in step for step in plans), "a place of which more is compared"
    assert any("bumper_results" in step for step in plans)
    assert [step for step in plans if re.match(r"SCAN (readings|bumper_results|log|boots)", step)] == []
