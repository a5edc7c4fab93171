"""State, work list, swap test and assigning: from readings to the right next step."""

from typing import Any

import pytest
from curbtick.errors import InputError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.work import assign, swap
from curbtick.fleet.work import findings as worklist
from curbtick.limits import repeat
from curbtick_wire import names
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, reading
from tests.unit.bench.fleet.fleetdata import LOW, SILENT, Yard


def test_a_finding_opens_is_done_and_is_proved_by_a_later_pass(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    finding = yard.findings()[0]
    assert (finding.what, finding.position, finding.state, finding.next_step) == ("weak", 2, "open", "clean")
    with yard.store.write() as connection:
        worklist.note(connection, finding.id, "inspect", NOON_MS + 1000)
        worklist.note(connection, finding.id, "clean", NOON_MS + DAY_MS, "Ann")
    assert (yard.findings()[0].state, yard.findings()[0].next_step) == ("done", "read_again")
    yard.read(NOON_MS + 2 * DAY_MS, {"position": 2})
    assert yard.findings()[0].state == "proved"


def test_a_bad_reading_after_the_repair_opens_it_again_with_the_next_step(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection:
        worklist.note(connection, yard.findings()[0].id, "clean", NOON_MS + DAY_MS)
    yard.read(NOON_MS + 2 * DAY_MS, {"position": 2, **LOW})
    assert (yard.findings()[0].state, yard.findings()[0].next_step) == ("open", "inspect")


def test_a_pass_from_before_the_repair_proves_nothing(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection:
        worklist.note(connection, yard.findings()[0].id, "replace", NOON_MS + 9 * DAY_MS)
    yard.read(NOON_MS + DAY_MS, {"position": 2})
    assert yard.findings()[0].state == "done"


def test_refreshing_twice_changes_nothing(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW}, {"position": 3, "verdict": names.DEAD})
    before = yard.findings()
    with yard.store.write() as connection:
        worklist.refresh(connection)
    assert yard.findings() == before
    assert len(before) == 2


def test_a_silent_bumper_is_one_finding_about_the_vehicle(yard: Yard) -> None:
    seqs = yard.read(NOON_MS, *({"position": p, **SILENT} for p in range(1, 5)))
    yard.result(names.BUMPER_NOT_TRANSMITTING, [names.RETRY] * 4, [1 << 16] * 4, seqs)
    findings = yard.findings()
    assert [(f.position, f.what, f.next_step) for f in findings] == [(0, "not_transmitting", "conditions")]
    assert yard.state().worst == "not_transmitting"
    with yard.store.write() as connection:
        worklist.note(connection, findings[0].id, "fault_memory", NOON_MS + 1, "Ann", "C1234, cleared")
    assert yard.findings()[0].steps[0].note == "C1234, cleared"
    yard.read(NOON_MS + DAY_MS, *({"position": p} for p in range(1, 5)))
    assert [(f.position, f.state) for f in yard.findings()] == [(0, "proved")]
    assert {place.verdict for place in yard.state().at(names.REAR)} == {"pass"}


def silent(yard: Yard, at_ms: int) -> None:
    seqs = yard.read(at_ms, *({"position": p, **SILENT} for p in range(1, 5)))
    yard.result(names.BUMPER_NOT_TRANSMITTING, [names.RETRY] * 4, [1 << 16] * 4, seqs)


def test_a_bumper_silent_after_the_repair_too_is_open_again_with_the_next_step(yard: Yard) -> None:
    silent(yard, NOON_MS)
    with yard.store.write() as connection:
        for step in ("conditions", "fuse"):
            worklist.note(connection, yard.findings()[0].id, step, NOON_MS + DAY_MS)
        worklist.refresh(connection)
    assert [(f.state, f.next_step) for f in yard.findings()] == [("done", "read_again")]
    silent(yard, NOON_MS + 2 * DAY_MS)
    assert [(f.state, f.next_step) for f in yard.findings()] == [("open", "module")]


def test_the_last_step_says_what_is_to_be_read_again(yard: Yard) -> None:
    yard.read(NOON_MS, {"bumper": names.FRONT, "position": 2, **LOW})
    silent(yard, NOON_MS + 1000)
    with yard.store.write() as connection:
        for finding in yard.findings():
            worklist.note(connection, finding.id, finding.next_step or "", NOON_MS + DAY_MS)
    words = ["Read the whole bumper again", "Read again to prove the repair"]
    assert [finding.next_words for finding in yard.findings()] == words


def test_the_bumper_result_makes_nothing_heard_dead_where_siblings_pass(yard: Yard) -> None:
    seqs = yard.read(NOON_MS, {"position": 1, **SILENT}, *({"position": p} for p in (2, 3, 4)))
    yard.result(
        names.BUMPER_REPAIR,
        [names.DEAD, names.PASS, names.PASS, names.PASS],
        [names.mask_of(names.REASONS, ["nothing_heard"]), 0, 0, 0],
        seqs,
    )
    assert [place.verdict for place in yard.state().places[:4]] == ["dead", "pass", "pass", "pass"]
    assert [(f.position, f.what) for f in yard.findings()] == [(1, "dead")]


def test_an_older_result_does_not_overrule_a_newer_reading(yard: Yard) -> None:
    seqs = yard.read(NOON_MS, *({"position": p, **SILENT} for p in range(1, 5)))
    yard.result(names.BUMPER_NOT_TRANSMITTING, [names.RETRY] * 4, [1 << 16] * 4, seqs)
    yard.read(NOON_MS + DAY_MS, {"position": 1})
    assert yard.state().silent_bumpers == []


def test_a_step_that_does_not_exist_and_a_finding_that_does_not_are_refused(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection:
        with pytest.raises(InputError, match="no step polish"):
            worklist.note(connection, yard.findings()[0].id, "polish", NOON_MS)
        with pytest.raises(InputError, match="no finding 302a11-99"):
            worklist.note(connection, "302a11-99", "clean", NOON_MS)


def test_a_retired_vehicle_leaves_the_work_list(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection:
        vehicles.retire(connection, yard.van, NOON_MS)
    assert yard.findings() == []


def _swapped(yard: Yard, after_2: dict[str, Any], after_3: dict[str, Any]) -> swap.Decision:
    for day in range(2):
        yard.read(NOON_MS + day * DAY_MS, {"position": 2, **LOW}, {"position": 3})
    with yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        swap.record(connection, van, names.REAR, 2, 3, NOON_MS + 3 * DAY_MS)
    yard.read(NOON_MS + 4 * DAY_MS, {"position": 2, **after_2}, {"position": 3, **after_3})
    with yard.store.read() as connection:
        return swap.decide(connection, swap.of_vehicle(connection, yard.van)[0], repeat.of_fleet(connection))


def test_a_fault_that_moves_is_the_sensors(yard: Yard) -> None:
    assert _swapped(yard, {}, LOW).follows == "sensor"


def test_a_fault_that_stays_is_the_wirings(yard: Yard) -> None:
    assert _swapped(yard, LOW, {}).follows == "wiring"


def test_verdict_letters_do_not_decide_the_levels_do(yard: Yard) -> None:
    """Both read WEAK after the swap, yet the levels tell: 16.8 against 24.5 dB down is the moved fault."""
    decision = _swapped(yard, {**LOW, "level_cdb": -1710}, {**LOW, "level_cdb": -3300})
    assert decision.follows == "sensor"


def test_a_swap_that_cured_it_is_said_to_tell_nothing(yard: Yard) -> None:
    decision = _swapped(yard, {}, {})
    assert decision.follows is None and "alike now" in decision.why


def test_readings_that_fit_neither_are_said(yard: Yard) -> None:
    decision = _swapped(yard, {"level_cdb": -800}, {"level_cdb": -1650})
    assert decision.follows is None and "fits neither" in decision.why


def test_a_swap_not_read_since_is_said(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW}, {"position": 3})
    with yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        swap.record(connection, van, names.REAR, 2, 3, NOON_MS + DAY_MS)
        with pytest.raises(InputError, match="cannot be swapped"):
            swap.record(connection, van, names.REAR, 2, 2, NOON_MS)
        with pytest.raises(InputError, match="1 to 4"):
            swap.record(connection, van, names.REAR, 2, 5, NOON_MS)
    with yard.store.read() as connection:
        assert "not read since" in swap.in_words(connection, yard.van)[0]


def test_an_undone_swap_is_forgotten(yard: Yard) -> None:
    with yard.store.write() as connection:
        key = swap.record(connection, vehicles.load(connection, [yard.van])[0], names.REAR, 1, 2, NOON_MS)
        swap.undo(connection, key, NOON_MS)
        assert swap.of_vehicle(connection, yard.van) == []
        with pytest.raises(InputError, match="no such swap"):
            swap.undo(connection, key, NOON_MS)


def _repeated(yard: Yard, times: int, offsets_cdb: tuple[int, int], day: int) -> None:
    """Position 1 read twice on each visit, so many visits."""
    for visit in range(times):
        both = [{"position": 1, "level_cdb": -800 + offset} for offset in offsets_cdb]
        yard.read(NOON_MS + (day + visit) * DAY_MS, *both)


def test_a_swap_is_judged_by_the_fleets_own_repeatability_once_it_is_known(yard: Yard) -> None:
    """Sensors 3 dB apart: too little for readings taken to repeat to 0.8 dB, plain where they repeat to 0.3 dB."""
    assert _swapped(yard, {"level_cdb": -500}, {}).follows is None
    with yard.store.write() as connection:
        key = swap.of_vehicle(connection, yard.van)[0].id
        swap.undo(connection, key, NOON_MS)
        swap.record(
            connection, vehicles.load(connection, [yard.van])[0], names.REAR, 2, 3, NOON_MS + 5 * DAY_MS
        )
    yard.read(NOON_MS + 6 * DAY_MS, {"position": 2}, {"position": 3, "level_cdb": -500})
    with yard.store.read() as connection:
        before = swap.decide(
            connection, swap.of_vehicle(connection, yard.van)[0], repeat.of_fleet(connection)
        )
    _repeated(yard, 20, (0, 1), day=100)
    with yard.store.read() as connection:
        after = swap.decide(connection, swap.of_vehicle(connection, yard.van)[0], repeat.of_fleet(connection))
    assert (before.follows, after.follows) == (None, "sensor")


def test_a_swap_says_what_repeatability_was_taken(yard: Yard) -> None:
    _swapped(yard, {}, LOW)
    with yard.store.read() as connection:
        taken = repeat.of_fleet(connection)
        words = swap.in_words(connection, yard.van)[0]
    assert (taken.level_db, taken.pairs) == (repeat.STATED_DB, 0) and not taken.is_measured
    assert "taken to repeat to 0.80 dB: this fleet has 0 repeated readings" in words


def test_repeatability_is_measured_once_there_are_enough_pairs(yard: Yard) -> None:
    """Pairs 1 dB apart: sigma is 1.4826 x 1 / sqrt 2 = 1.048 dB, whatever changed between the visits."""
    _repeated(yard, repeat.PAIRS_MIN - 1, (0, 100), day=0)
    with yard.store.read() as connection:
        assert not repeat.of_fleet(connection).is_measured
    _repeated(yard, 1, (0, -100), day=60)
    with yard.store.read() as connection:
        found = repeat.of_fleet(connection)
    assert (found.pairs, round(found.level_db, 3)) == (10, 1.048)
    assert "measured on 10 pairs" in found.words
    _repeated(yard, 20, (0, 1), day=100)
    with yard.store.read() as connection:
        assert repeat.of_fleet(connection).level_db == repeat.FLOOR_DB


levels = st.floats(-45, -3)


@given(levels, levels, st.lists(st.floats(-1, 1), min_size=4, max_size=4))
def test_a_clear_fault_is_never_put_on_the_wrong_side(a: float, b: float, noise: list[float]) -> None:
    """With readings within their uncertainty of the truth the two answers are never mixed up."""
    scatter = [n * repeat.STATED_DB for n in noise]
    moved = swap.judge([a + scatter[0]], [b + scatter[1]], [b + scatter[2]], [a + scatter[3]])
    stayed = swap.judge([a + scatter[0]], [b + scatter[1]], [a + scatter[2]], [b + scatter[3]])
    assert moved.follows in (None, "sensor")
    assert stayed.follows in (None, "wiring")


def test_wrong_decisions_are_rare_with_normal_scatter() -> None:
    """20,000 swap tests of a fault 10 dB deep: none on the wrong side, and most decided."""
    import random

    rng = random.Random(7)

    def noisy(level: float) -> list[float]:
        return [rng.gauss(level, repeat.STATED_DB)]

    decided = 0
    for _ in range(20_000):
        decision = swap.judge(noisy(-18.0), noisy(-8.0), noisy(-8.0), noisy(-18.0))
        assert decision.follows != "wiring"
        decided += decision.follows == "sensor"
    assert decided / 20_000 > 0.95


def _loose(yard: Yard) -> list[readings.Reading]:
    with yard.store.read() as connection:
        return assign.unassigned(connection)


def test_assigning_is_undoable_and_keeps_the_original(yard: Yard) -> None:
    yard.book.visit(NOON_MS, {"position": 3, "vehicle": 9}, {"position": 4, "vehicle": 9})
    loose = _loose(yard)
    with yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        key = assign.to_vehicle(
            connection, loose, van, NOON_MS, bumper=names.FRONT, first_position=1, by="Ann"
        )
        held = readings.of_place(connection, yard.van, names.FRONT, 2)
        assert [(r.values["vehicle"], r.values["position"]) for r in held] == [(9, 4)]
        assert assign.unassigned(connection) == []
        assert assign.undo(connection, key, NOON_MS) == 2
        assert [r.id for r in assign.unassigned(connection)] == [r.id for r in loose]
        with pytest.raises(InputError, match="to undo"):
            assign.undo(connection, key, NOON_MS)


def test_an_assignment_overtaken_by_another_is_undone_last(yard: Yard) -> None:
    yard.book.visit(NOON_MS, {"position": 3})
    with yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        first = assign.to_vehicle(connection, assign.unassigned(connection), van, NOON_MS)
        second = assign.to_vehicle(
            connection, readings.of_place(connection, yard.van, names.REAR, 3), van, NOON_MS, first_position=4
        )
        with pytest.raises(InputError, match=f"Undo {assign.number_of(second)} first"):
            assign.undo(connection, first, NOON_MS)
        assign.undo(connection, second, NOON_MS)
        assign.undo(connection, first, NOON_MS)
        assert len(assign.unassigned(connection)) == 1


def test_a_reading_taken_again_stays_at_its_position(yard: Yard) -> None:
    yard.book.visit(NOON_MS, {"position": 1}, {"position": 1, "supersedes_seq": 2}, {"position": 2})
    with yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        assign.to_vehicle(connection, assign.unassigned(connection), van, NOON_MS, first_position=2)
        assert [len(readings.of_place(connection, yard.van, names.REAR, p)) for p in (2, 3)] == [2, 1]


def test_more_readings_than_positions_are_refused_whole(yard: Yard) -> None:
    yard.book.visit(NOON_MS, *({"position": p} for p in range(1, 5)), {"bumper": names.FRONT, "position": 1})
    with pytest.raises(InputError, match="would be at rear 5; Van 1 has 4"), yard.store.write() as connection:
        van = vehicles.load(connection, [yard.van])[0]
        assign.to_vehicle(connection, assign.unassigned(connection), van, NOON_MS, first_position=1)
    assert len(_loose(yard)) == 5


def test_readings_are_named_alone_or_as_a_range(yard: Yard) -> None:
    yard.book.seq = yard.bus.book.seq  # A number that one probe alone has needs no name.
    seqs = yard.book.visit(NOON_MS, {}, {}, {})
    with yard.store.read() as connection:
        name = readings.by_ref(connection, str(seqs[0])).probe
        assert [r.seq for r in assign.parse_range(connection, [f"{name}-{seqs[0]}..{seqs[1]}"])] == seqs[:2]
        for wrong in ("nothing", f"{name}-999", f"{name}-{seqs[1]}..{seqs[0]}"):
            with pytest.raises(InputError):
                assign.parse_range(connection, [wrong])


def test_a_number_that_two_probes_have_asks_for_the_probe(yard: Yard) -> None:
    yard.store.ingest("00000000000000aa", [reading(2)])
    yard.book.visit(NOON_MS, {})
    with yard.store.read() as connection, pytest.raises(InputError, match="More than one probe"):
        readings.by_ref(connection, "2")
