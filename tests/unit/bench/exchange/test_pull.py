"""A pull: from where it goes on, what it dates, and that another log under the same name refuses nothing."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from curbtick.exchange.pull import Pull, pull_probe
from curbtick.store import tables
from curbtick.store.history import Store, whole
from curbtick_wire import records
from sqlalchemy import select

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, reading
from tests.unit.bench.fake_client import LOG_ID, UP_MS, FakeClient


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


def test_another_log_under_the_same_name_is_taken_over_and_both_contents_stay(store: Store) -> None:
    """A probe that took another one's id, or was restored: no pull is refused, and nothing that was stored goes."""
    pull(store, OLD, boot=2)
    other = {**log(1, 5, ticks_ms=9), **log(7, 9, boot=2)}
    pull(store, other, 2, NOON_MS + DAY_MS)
    with store.read() as connection:
        raws = {bytes(raw) for raw in connection.execute(select(tables.records.c.raw)).scalars()}
        seqs = (
            connection.execute(select(tables.readings.c.seq).order_by(tables.readings.c.seq)).scalars().all()
        )
    assert raws == {*OLD.values(), *other.values()} and seqs == list(range(1, 10))
    assert whole.check(store) == []


def test_the_same_log_goes_on_above_what_is_stored_and_its_boot_is_dated(store: Store) -> None:
    pull(store, OLD, boot=2)
    probe = stranger({**OLD, **log(7, 8, boot=3)}, 3, NOON_MS + DAY_MS)
    pull_probe(store, probe)
    assert probe.asked == [6, 7]
    assert (8, 3, NOON_MS + DAY_MS - UP_MS + 1008) in [row[:3] for row in told(store)]


def test_a_pull_that_brings_nothing_new_anchors_the_boot_all_the_same(store: Store) -> None:
    store.ingest(PROBE, OLD.values(), log_id=LOG_ID, covered=(1, 6))
    pull(store, OLD, boot=2)
    with store.read() as connection:
        assert connection.scalar(select(tables.anchors.c.host_ms)) == NOON_MS
        raws = connection.execute(select(tables.records.c.raw)).scalars()
        assert {raw[0] for raw in raws} == {records.READING}


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
