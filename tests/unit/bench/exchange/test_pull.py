"""A pull of a probe whose storage was wiped is refused before it touches anything, the times included."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick.errors import StoreError
from curbtick.exchange.pull import Pull, pull_probe
from curbtick.store import tables
from curbtick.store.history import Store
from curbtick_wire import records
from sqlalchemy import select

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, reading
from tests.unit.bench.fake_client import UP_MS, FakeClient


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "history.db") as made:
        yield made


def stranger(held: dict[int, bytes], boot: int, now_ms: int) -> FakeClient:
    """A probe that this bench is not paired with."""
    return FakeClient(held, boot=boot, has_key=False, host_ms=now_ms)


def pull(store: Store, held: dict[int, bytes], boot: int, now_ms: int = NOON_MS) -> Pull:
    return pull_probe(store, stranger(held, boot, now_ms))


def told(store: Store) -> list[tuple[Any, ...]]:
    """Everything that a pull may change."""
    readings, boots = tables.readings.c, tables.boots.c
    with store.read() as connection:
        return [
            tuple(row)
            for query in (
                select(readings.seq, readings.boot, readings.time_ms, readings.sort_ms),
                select(boots.boot, boots.offset_ms, boots.not_before_ms, boots.not_after_ms),
                select(tables.anchors.c.boot, tables.anchors.c.host_ms),
                select(tables.runs.c.first_seq, tables.runs.c.last_seq),
            )
            for row in connection.execute(query)
        ]


def log(first: int, last: int, boot: int = 1, ticks_ms: int = 1000) -> dict[int, bytes]:
    return {seq: reading(seq, boot, ticks_ms + seq) for seq in range(first, last + 1)}


OLD = {**log(1, 3), **log(4, 6, boot=2)}


@pytest.mark.parametrize(
    ("held", "boot", "what"),
    [
        (
            log(1, 2, ticks_ms=9),
            1,
            "stands at record 2 of boot 1, and the history has its record 6 of boot 2",
        ),
        (log(1, 9, ticks_ms=9), 1, "stands at record 9 of boot 1"),
        (log(1, 9, boot=2, ticks_ms=9), 2, "record 6 differs from the stored one"),
        ({}, 1, "stands at record 0 of boot 1"),
    ],
)
def test_a_wiped_probe_is_refused_and_nothing_is_dated_anew(
    store: Store, held: dict[int, bytes], boot: int, what: str
) -> None:
    pull(store, OLD, boot=2)
    before = told(store)
    with pytest.raises(StoreError, match=what) as refused:
        pull(store, held, boot, NOON_MS + DAY_MS)
    assert "probes renew" in refused.value.next_step
    assert told(store) == before
    store.renew_probe(PROBE)
    pull(store, held, boot, NOON_MS + DAY_MS)


def test_a_wiped_probe_is_refused_where_the_history_begins_late(store: Store) -> None:
    """The records below 300 went to another bench; the wiped log has grown beyond the old one."""
    pull(store, log(300, 300, boot=4), boot=4)
    before = told(store)
    wiped = {**log(1, 3, boot=3), **log(301, 310, boot=5)}
    with pytest.raises(StoreError, match="record 1 of boot 3, and had none of that number"):
        pull(store, wiped, 5, NOON_MS + DAY_MS)
    assert told(store) == before


def test_a_contradiction_in_the_first_batch_leaves_the_times_alone(store: Store) -> None:
    """The newest stored record was given up by the probe since, so only the batch can show the other log."""
    pull(store, OLD, boot=2)
    before = told(store)
    with pytest.raises(StoreError, match="record 1 of boot 1 differs"):
        pull(store, {**log(1, 5, ticks_ms=9), **log(7, 9, boot=2)}, 2, NOON_MS + DAY_MS)
    assert told(store) == before


def test_the_same_log_goes_on_above_what_is_stored_and_its_boot_is_dated(store: Store) -> None:
    pull(store, OLD, boot=2)
    probe = stranger({**OLD, **log(7, 8, boot=3)}, 3, NOON_MS + DAY_MS)
    pull_probe(store, probe)
    assert probe.asked == [6, 7]
    assert (8, 3, NOON_MS + DAY_MS - UP_MS + 1008) in [row[:3] for row in told(store)]


def test_a_pull_that_brings_nothing_new_anchors_the_boot_all_the_same(store: Store) -> None:
    store.ingest(PROBE, OLD.values(), covered=(1, 6))
    pull(store, OLD, boot=2)
    with store.read() as connection:
        assert connection.scalar(select(tables.anchors.c.host_ms)) == NOON_MS
        kinds = connection.execute(select(tables.log.c.kind)).scalars()
        assert set(kinds) == {records.READING}


def test_a_clock_behind_an_earlier_pull_is_said(store: Store) -> None:
    assert pull(store, {1: reading(1, 1)}, 1, NOON_MS + DAY_MS).notes == ()
    held = {1: reading(1, 1), 2: reading(2, 1)}
    assert pull(store, held, 1, NOON_MS + DAY_MS - 60_000).notes == ()
    (note,) = pull(store, held, 1).notes
    assert "clock is 1440 minutes behind" in note


def test_a_pull_was_made_when_the_callers_clock_says(store: Store) -> None:
    """A day that is made up has a clock of its own; the pull belongs to that day."""
    at_ms = NOON_MS - 7 * DAY_MS
    pull_probe(store, stranger(OLD, 2, at_ms), clock_ms=lambda: at_ms)
    with store.read() as connection:
        assert connection.execute(select(tables.pulls.c.at_ms)).scalars().all() == [at_ms]
        latest_ms = connection.scalar(select(tables.boots.c.not_after_ms).where(tables.boots.c.boot == 1))
        assert latest_ms is not None and latest_ms <= at_ms
