"""What a bench noted in its own file arrives in the central history exactly once, on both engines."""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from curbtick.fleet import vehicles
from curbtick.fleet.work import assign, swap
from curbtick.fleet.work import findings as worklist
from curbtick.limits import sets
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick.store.sync.merge import sync
from curbtick.store.sync.work import Work
from curbtick_wire import names
from sqlalchemy import select

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import DAY_MS, NOON_MS, Logbook
from tests.unit.bench.store.test_contract import OTHER, central, count, server, where

__all__ = ["central", "server", "where"]

BAD = {"round_id": 7, "vehicle": 1, "position": 2, "verdict": names.DEAD, "level_cdb": -4500, "reasons": 1}
GOOD = {"round_id": 7, "vehicle": 1, "position": 2}


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "own.db") as made:
        benchdata.add_round(made, 7, [benchdata.add_vehicle(made, "Van", depot="Harbour")])
        yield made


def refresh(store: Store) -> None:
    with store.write() as connection:
        worklist.refresh(connection)


def read(store: Store, day: float, *values: dict[str, Any], probe: str = benchdata.PROBE) -> None:
    """A visit on a day, each of a boot of its own, and what the work list makes of it."""
    book = Logbook(store, probe)
    book.boot, book.seq = int(day * 10), int(day * 100)
    book.visit(NOON_MS + int(day * DAY_MS), *values)
    refresh(store)


def findings(store: Store) -> Sequence[worklist.Finding]:
    with store.read() as connection:
        return worklist.load(connection, (worklist.OPEN, worklist.DONE, worklist.PROVED))


def note(store: Store, step: str, day: float, by: str = "Ada", text: str | None = None) -> None:
    with store.write() as connection:
        finding = max(
            worklist.load(connection, (worklist.OPEN, worklist.DONE)), key=lambda found: found.opened_ms
        )
        worklist.note(connection, finding.id, step, NOON_MS + int(day * DAY_MS), by, text)


def told(store: Store) -> list[tuple[Any, ...]]:
    """Findings with their steps, keys of the database left out."""
    return [
        (
            found.vehicle,
            found.bumper,
            found.position,
            found.what,
            found.state,
            found.opened_ms,
            found.proved_ms,
        )
        + tuple((step.step, step.at_ms, step.by, step.note) for step in found.steps)
        for found in findings(store)
    ]


def test_a_repair_made_and_proved_offline_arrives_once(own: Store, central: Store) -> None:
    read(own, 1, BAD)
    note(own, "clean", 1.1, text="salt")
    note(own, "replace", 1.2)
    read(own, 2, GOOD)
    assert [found.state for found in findings(own)] == ["proved"]
    done = sync(own, central).work
    assert (done.findings, done.steps) == (1, 2)
    assert told(central) == told(own)
    refresh(central)
    assert told(central) == told(own)
    assert sync(own, central).work == Work()
    assert told(central) == told(own)
    for found, theirs in zip(findings(own), findings(central), strict=True):
        for name in ("opened_by_id", "proved_by_id"):
            assert _reading(own, getattr(found, name)) == _reading(central, getattr(theirs, name))


def _reading(store: Store, key: int | None) -> tuple[int, int]:
    columns = tables.readings.c
    with store.read() as connection:
        row = connection.execute(select(columns.seq, columns.boot).where(columns.id == key)).one()
    return row.seq, row.boot


def test_steps_join_the_finding_that_the_central_history_has_open(own: Store, central: Store) -> None:
    """Another bench saw the fault first; its own readings and a step are there already."""
    benchdata.add_round(central, 7, [benchdata.add_vehicle(central, "Van", depot="Harbour")])
    read(central, 0.5, BAD, probe=OTHER)
    note(central, "inspect", 0.6, by="Bo")
    read(own, 1, BAD)
    note(own, "replace", 1.2)
    done = sync(own, central).work
    assert (done.findings, done.steps) == (0, 1)
    (found,) = findings(central)
    assert [(step.step, step.by) for step in found.steps] == [("inspect", "Bo"), ("replace", "Ada")]
    assert found.state == "done"
    refresh(central)
    assert findings(central)[0].state == "done"
    read(own, 2, GOOD)
    sync(own, central)
    refresh(central)
    (found,) = findings(central)
    assert (found.state, found.opened_ms, len(found.steps)) == ("proved", NOON_MS + DAY_MS // 2 + 1000, 2)


def test_a_later_bad_reading_of_another_bench_opens_it_again(own: Store, central: Store) -> None:
    read(own, 1, BAD)
    sync(own, central)
    refresh(central)
    note(own, "replace", 1.2)
    read(central, 2, BAD, probe=OTHER)
    sync(own, central)
    refresh(central)
    (found,) = findings(central)
    assert (found.state, [step.step for step in found.steps]) == ("open", ["replace"])


def test_a_fault_that_came_back_stays_two_findings(own: Store, central: Store) -> None:
    read(own, 1, BAD)
    note(own, "clean", 1.1)
    read(own, 2, GOOD)
    read(own, 3, BAD)
    note(own, "swap", 3.1)
    for _ in range(2):
        sync(own, central)
        refresh(central)
        assert told(central) == told(own)
        assert [found.state for found in findings(central)] == ["proved", "open"]


def test_a_finding_proved_in_the_central_history_is_not_opened_by_a_stale_file(
    own: Store, central: Store
) -> None:
    read(own, 1, BAD)
    sync(own, central)
    refresh(central)
    read(central, 2, GOOD, probe=OTHER)
    note(own, "clean", 2.5)
    sync(own, central)
    refresh(central)
    (found,) = findings(central)
    assert (found.state, [step.step for step in found.steps]) == ("proved", ["clean"])


def test_swaps_arrive_once_and_so_does_taking_one_back(own: Store, central: Store) -> None:
    with own.write() as connection:
        (van,) = vehicles.load(connection)
        kept = swap.record(connection, van, 0, 1, 2, NOON_MS)
        undone = swap.record(connection, van, 1, 3, 4, NOON_MS + 5)
    assert sync(own, central).work.swaps == 2
    with own.write() as connection:
        swap.undo(connection, undone, NOON_MS + 9)
    assert sync(own, central).work.swaps == 0
    with central.read() as connection:
        rows = connection.execute(select(tables.swaps).order_by(tables.swaps.c.at_ms)).all()
    assert kept != undone
    assert [(row.bumper, row.position_a, row.position_b, row.undone_ms) for row in rows] == [
        (0, 1, 2, None),
        (1, 3, 4, NOON_MS + 9),
    ]


def limit_set(store: Store, noise_max_cdb: int) -> int:
    with store.write() as connection:
        made = sets.save(connection, {**sets.factory(), "noise_max_cdb": noise_max_cdb}, "fit", NOON_MS)
        return int(made["revision"])


def test_limit_sets_keep_their_revision_and_one_that_means_another_there_is_named(
    own: Store, central: Store
) -> None:
    limit_set(own, -4100)
    done = sync(own, central).work
    assert (done.limit_sets, done.clashed_limits, done.withheld_limits) == (1, [], [])
    assert sync(own, central).work == Work()
    limit_set(own, -4200)
    limit_set(central, -4300)
    assert sync(own, central).work == Work(clashed_limits=[3])
    with central.read() as connection, own.read() as mine:
        assert sets.load(connection, 2) == sets.load(mine, 2)
        assert sets.load(connection, 3)["noise_max_cdb"] == -4300


def test_what_a_probe_took_arrives_once(own: Store, central: Store) -> None:
    read(own, 1, GOOD)
    for _ in range(2):
        sync(own, central)
        assert count(central, tables.sends) == count(own, tables.sends) == 1


def test_two_at_once_bring_each_thing_once(own: Store, central: Store, where: str) -> None:
    read(own, 1, BAD)
    note(own, "clean", 1.1)
    limit_set(own, -4100)

    def bring(_number: int) -> Work:
        with Store(own.url) as mine, Store(where) as theirs:
            return sync(mine, theirs).work

    with ThreadPoolExecutor(2) as pool:
        done = list(pool.map(bring, range(2)))
    assert sorted(work.steps for work in done) == [0, 1]
    assert sorted(work.limit_sets for work in done) == [0, 1]
    assert told(central) == told(own)


def withdrawn(store: Store) -> list[tuple[str, list[str]]]:
    with store.read() as connection:
        return [
            (found.vehicle, [step.step for step in found.steps])
            for found in worklist.load(connection, (worklist.WITHDRAWN,))
        ]


@pytest.mark.parametrize("proved", [False, True])
def test_a_finding_withdrawn_at_the_server_stays_so_and_takes_later_steps(
    own: Store, central: Store, proved: bool
) -> None:
    """The steward moved the reading that opened it to another van; the file knows nothing of that."""
    read(own, 1, BAD)
    sync(own, central)
    refresh(central)
    with central.write() as connection:
        other = vehicles.add(connection, "Other van", vehicles.Bumper(4, 48), vehicles.NO_SENSORS, 0)
        moved = assign.parse_range(connection, [f"{benchdata.PROBE[-6:]}-102"])
        assign.to_vehicle(connection, moved, vehicles.load(connection, [other])[0], NOON_MS + 2 * DAY_MS)
        worklist.refresh(connection)
    note(own, "clean", 1.1)
    if proved:
        read(own, 3, GOOD)
    for steps in (1, 0):
        done = sync(own, central).work
        refresh(central)
        assert (done.findings, done.steps) == (0, steps)
        assert [(found.vehicle, found.state) for found in findings(central)] == [("Other van", "open")]
        assert withdrawn(central) == [("Van", ["clean"])]


def test_a_finding_about_a_reading_that_the_server_has_not_placed_arrives(own: Store, central: Store) -> None:
    """Another bench pulled the same records first, into a history that knows nothing of their round."""
    read(own, 1, BAD)
    with own.read() as connection:
        raws = connection.execute(select(tables.log.c.raw).order_by(tables.log.c.seq)).scalars().all()
    central.ingest(benchdata.PROBE, [bytes(raw) for raw in raws], received_ms=NOON_MS + 2 * DAY_MS)
    assert sync(own, central).work.findings == 1
    assert told(central) == told(own) and withdrawn(central) == []


def test_a_proof_that_the_server_moved_away_does_not_come_back(own: Store, central: Store) -> None:
    read(own, 1, BAD)
    note(own, "replace", 1.1)
    read(own, 3, GOOD)
    sync(own, central)
    assert [found.state for found in findings(central)] == ["proved"]
    with central.write() as connection:
        other = vehicles.add(connection, "Other van", vehicles.Bumper(4, 48), vehicles.NO_SENSORS, 0)
        moved = assign.parse_range(connection, [f"{benchdata.PROBE[-6:]}-302"])
        assign.to_vehicle(connection, moved, vehicles.load(connection, [other])[0], NOON_MS + 4 * DAY_MS)
        worklist.refresh(connection)
    assert [found.state for found in findings(central)] == ["done"]
    sync(own, central)
    assert [found.state for found in findings(central)] == ["done"]
