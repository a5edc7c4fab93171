"""The history: every record exactly once, times never invented, trouble said in words."""

import binascii
import hashlib
import multiprocessing
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from multiprocessing.synchronize import Barrier, Event
from pathlib import Path

import pytest
from curbtick.errors import StoreError
from curbtick.fleet import readings
from curbtick.store import runs, tables
from curbtick.store.decode import decode
from curbtick.store.fold import times
from curbtick.store.history import Store, whole
from curbtick_wire import codec, names, records
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import func, select, text

from tests.unit.bench import benchdata
from tests.unit.bench.benchdata import NOON_MS, PROBE, Logbook, anchored, reading, record

NEW_HISTORIES = 40


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "history.db", busy_timeout_s=0.2)


def count(store: Store, table=tables.readings) -> int:  # type: ignore[no-untyped-def]
    with store.read() as connection:
        return int(connection.scalar(select(func.count()).select_from(table)))


def test_acknowledgement_names_the_highest_contiguous_record_and_its_digest(store: Store) -> None:
    batch = [reading(seq) for seq in (1, 2, 3, 5)]
    assert store.ingest(PROBE, batch)[:2] == (3, hashlib.sha256(b"".join(batch[:3])).digest())
    late = reading(4)
    assert store.ingest(PROBE, [late], first_seq=1)[0] == 5
    assert store.digest(PROBE, 4, 5) == hashlib.sha256(late + batch[3]).digest()


def test_a_record_pulled_twice_is_stored_once(store: Store) -> None:
    batch = [reading(seq) for seq in range(1, 11)]
    store.ingest(PROBE, batch[:6])
    assert store.ingest(PROBE, batch[3:], first_seq=1)[0] == 10
    assert store.ingest(PROBE, batch + batch)[0] == 10
    assert count(store) == count(store, tables.records) == 10


def test_numbers_that_the_probe_lost_do_not_hold_up_the_acknowledgement(store: Store) -> None:
    """A dropped snippet leaves its number without a record for good."""
    batch = [reading(seq) for seq in (1, 2, 4)]
    assert store.ingest(PROBE, batch, covered=(1, 5))[:2] == (5, hashlib.sha256(b"".join(batch)).digest())


def test_other_contents_under_a_stored_number_are_both_kept_and_one_counts(store: Store) -> None:
    """Whichever comes first: the one of the lower digest, unless a probe that proved itself brought the other."""
    both = sorted((reading(2), reading(2, level_cdb=-900)), key=lambda raw: hashlib.sha256(raw).digest())
    for order in (both, both[::-1]):
        for log_id, raw in enumerate(order, len(order[0])):
            store.ingest(PROBE, [reading(1), raw], log_id=7, bench=str(log_id))
    assert count(store, tables.records) == 3 and count(store) == 2
    assert level(store, 7, 2) == level_of(both[0])
    store.ingest(PROBE, [both[1]], log_id=7, is_proved=True)
    assert level(store, 7, 2) == level_of(both[1])
    store.ingest(PROBE, [both[0]], log_id=7)
    assert level(store, 7, 2) == level_of(both[1])
    assert whole.check(store) == []


def level(store: Store, log_id: int, seq: int) -> int:
    """The level of a reading as it counts."""
    with store.read() as connection:
        key = select(tables.probes.c.id).where(tables.probes.c.log_id == log_id).scalar_subquery()
        columns = tables.readings.c
        return int(
            connection.scalar(select(columns.level_cdb).where(columns.probe_id == key, columns.seq == seq))
        )


def level_of(raw: bytes) -> int:
    """The level that a reading's record holds."""
    return int(codec.decode_record(raw)["values"]["level_cdb"])


def test_a_damaged_record_refuses_the_batch(store: Store) -> None:
    damaged = bytearray(reading(2))
    damaged[30] ^= 4
    with pytest.raises(StoreError, match="checksum of number 2"):
        store.ingest(PROBE, [reading(1), bytes(damaged)])
    assert count(store) == 0


def test_an_unknown_kind_is_kept_raw(store: Store) -> None:
    strange = record(records.EVENT, 1, {})
    strange = bytes([99]) + strange[1:-4]
    strange += binascii.crc32(strange).to_bytes(4, "little")
    assert store.ingest(PROBE, [strange])[0] == 1
    assert count(store, tables.records) == 1 and count(store, tables.events) == 0


def test_markers_of_what_was_not_measured_become_null(store: Store) -> None:
    silent = {
        "level_cdb": records.NONE_I16,
        "frequency_hz": 0,
        "sweep_hz": records.NONE_I32,
        "interval_us": 0,
    }
    store.ingest(PROBE, [reading(1, **silent), reading(2, sweep_hz=0)])
    with store.read() as connection:
        rows = [row._mapping for row in connection.execute(select(tables.readings))]
    assert [rows[0][name] for name in silent] == [None] * 4
    assert rows[0]["noise_cdb"] == -6000 and rows[1]["sweep_hz"] == 0 and rows[1]["frequency_hz"] == 48100


def test_decoding_agrees_with_the_codec() -> None:
    """The store unpacks by itself for speed; the protocol's own codec must say the same of every kind."""
    for kind, _, fields, tail in records.KINDS:
        values = {name: codec_value(form, low, high) for name, form, low, high in fields}
        values.update({"sample_count": 3, "envelope_count": 2} if tail == "bytes" else {})
        values.update({"count": 1} if tail == "sounds" else {})
        body = {"bytes": b"abcde", "sounds": bytes(9)}.get(tail or "", b"")
        raw = codec.encode_record(kind, {"seq": 7, "boot": 3, "ticks_ms": 99}, values, body)
        theirs, ours = codec.decode_record(raw), decode(raw)
        assert (ours.kind, ours.seq, ours.boot, ours.ticks_ms) == (kind, 7, 3, 99)
        flat = [
            v for value in theirs["values"].values() for v in (value if isinstance(value, tuple) else [value])
        ]
        assert list(ours.values or ()) == flat


def codec_value(form: str, low: int, high: int) -> int | tuple[int, ...]:
    """A value near the middle of a field's range, repeated as the format asks."""
    value = (low + high) // 2 or 1
    return value if len(form) == 1 else (value,) * int(form[:-1])


def test_times_come_from_anchors_with_their_offset(store: Store) -> None:
    store.ingest(PROBE, [reading(1, ticks_ms=5000), anchored(2, NOON_MS // 1000, ticks_ms=65000)])
    with store.read() as connection:
        assert connection.scalar(select(tables.readings.c.time_ms)) == NOON_MS - 60_000


def test_a_boot_without_an_anchor_keeps_its_order_and_gets_no_date(store: Store) -> None:
    """Readings of a boot that never met a bench lie before the next boot's start and after the one before."""
    batch = [
        anchored(1, NOON_MS // 1000, boot=1, ticks_ms=0),
        reading(2, boot=2, ticks_ms=900),
        anchored(3, NOON_MS // 1000 + 500, boot=3, ticks_ms=100_000),
        reading(4, boot=3, ticks_ms=101_000),
    ]
    store.ingest(PROBE, batch, received_ms=NOON_MS + 900_000)
    with store.read() as connection:
        rows = connection.execute(select(tables.readings).order_by(tables.readings.c.sort_ms)).all()
        boot = connection.execute(select(tables.boots).where(tables.boots.c.boot == 2)).one()
    assert [row.seq for row in rows] == [2, 4]
    assert rows[0].time_ms is None
    assert (boot.not_before_ms, boot.not_after_ms) == (NOON_MS, NOON_MS + 400_000)


def test_a_late_anchor_dates_what_was_stored_before(store: Store) -> None:
    store.ingest(PROBE, [reading(1, ticks_ms=2000)], received_ms=NOON_MS)
    store.anchor(PROBE, times.Anchor(1, 10_000, NOON_MS, 30))
    with store.read() as connection:
        assert connection.scalar(select(tables.readings.c.time_ms)) == NOON_MS - 8000


def test_readings_of_a_round_find_their_vehicle_and_keep_what_the_probe_wrote(store: Store) -> None:
    first, second = benchdata.add_vehicle(store, "Van 1"), benchdata.add_vehicle(store, "Van 2")
    benchdata.add_round(store, 7, [first, second])
    Logbook(store).visit(NOON_MS, {"round_id": 7, "vehicle": 2}, {"round_id": 0, "vehicle": 2})
    with store.read() as connection:
        rows = connection.execute(select(tables.readings).order_by(tables.readings.c.seq)).all()
    assert [(row.vehicle, row.vehicle_id) for row in rows] == [(2, second), (2, None)]


def test_a_round_that_becomes_known_after_its_readings_gives_them_their_vehicles(store: Store) -> None:
    """Another bench made the round, and its journal came with a later sync."""
    store.ingest(PROBE, [reading(1, round_id=7, vehicle=1), reading(2, round_id=8, vehicle=1)])
    van = benchdata.add_vehicle(store, "Van 1")
    benchdata.add_round(store, 7, [van])
    with store.read() as connection:
        rows = connection.execute(select(tables.readings).order_by(tables.readings.c.seq)).all()
    assert [row.vehicle_id for row in rows] == [van, None]
    assert whole.check(store) == []


def test_a_wiped_probe_begins_a_new_log_and_both_are_kept(store: Store) -> None:
    store.ingest(PROBE, [reading(1), reading(2)], log_id=1)
    store.ingest(PROBE, [reading(1, level_cdb=-900)], log_id=2)
    assert count(store) == 3
    assert (store.stored_to(PROBE, log_id=1), store.stored_to(PROBE, log_id=2)) == (2, 1)
    with store.read() as connection:
        names_now = set(connection.execute(select(tables.probes.c.name)).scalars())
    assert names_now == {"302a11.00000001", "302a11.00000002"}


def test_a_superseded_reading_is_marked_and_kept(store: Store) -> None:
    Logbook(store).visit(
        NOON_MS, {"round_id": 7, "verdict": names.WEAK}, {"round_id": 7, "supersedes_seq": 2}
    )
    assert superseded(store) == [1, 0]


def superseded(store: Store) -> list[int]:
    """The marks of all readings, in the order of their numbers."""
    with store.read() as connection:
        query = select(tables.readings.c.superseded).order_by(tables.readings.c.seq)
        return list(connection.execute(query).scalars())


def test_a_superseded_reading_is_marked_when_it_arrives_last(store: Store) -> None:
    """Another bench pulled the second reading first; the earlier one comes with a later sync."""
    store.ingest(PROBE, [reading(3, round_id=7, supersedes_seq=2), reading(4, round_id=7)])
    store.ingest(PROBE, [reading(1, round_id=7), reading(2, round_id=7)])
    assert superseded(store) == [0, 1, 0, 0]


def test_without_a_round_no_reading_supersedes_one_of_another_vehicle(store: Store) -> None:
    """The probe calls every vehicle 0 then, and takes the second one's first reading for the first one's again."""
    store.ingest(PROBE, [reading(1, vehicle=0), reading(2, vehicle=0, supersedes_seq=1)])
    store.ingest(PROBE, [reading(4, vehicle=0, supersedes_seq=3)], first_seq=1)
    store.ingest(PROBE, [reading(3, vehicle=0)], first_seq=1)
    assert superseded(store) == [0, 0, 0, 0]


def test_readings_without_a_time_keep_the_probes_order_however_they_arrive(store: Store) -> None:
    van = benchdata.add_vehicle(store, "Van 1")
    benchdata.add_round(store, 7, [van])
    store.ingest(PROBE, [reading(3, round_id=7)], received_ms=NOON_MS)
    store.ingest(PROBE, [reading(2, round_id=7)], received_ms=NOON_MS)
    with store.read() as connection:
        assert [r.seq for r in readings.since(connection, 0)] == [2, 3]
        assert [r.seq for r in readings.between(connection, 0, NOON_MS + 1)] == [2, 3]
        assert [r.seq for r in readings.of_place(connection, van, names.REAR, 1)] == [2, 3]
        assert [r.seq for r in readings.of_place(connection, van, names.REAR, 1, newest=1)] == [3]


def test_a_locked_history_is_said_and_nothing_is_lost(store: Store, tmp_path: Path) -> None:
    store.ingest(PROBE, [reading(1)])
    other = sqlite3.connect(tmp_path / "history.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="locked by another program"):
        store.ingest(PROBE, [reading(2)])
    other.execute("ROLLBACK")
    assert store.ingest(PROBE, [reading(2)], first_seq=1)[0] == 2


def test_a_full_disk_is_said_and_the_batch_left_out_whole(store: Store) -> None:
    """A page limit makes SQLite answer exactly as it does when the disk is full."""
    store.ingest(PROBE, [reading(1)])
    with store.read() as connection:
        pages = connection.scalar(text("PRAGMA page_count"))
        connection.execute(text(f"PRAGMA max_page_count={pages + 2}"))
    with pytest.raises(StoreError, match="disk .* is full"):
        store.ingest(PROBE, [reading(seq) for seq in range(2, 2000)])
    assert count(store) == 1


def test_a_newer_history_is_refused(store: Store, tmp_path: Path) -> None:
    with store.write() as connection:
        connection.execute(
            tables.meta.update().where(tables.meta.c.key == "schema_version").values(value="99")
        )
    with pytest.raises(StoreError, match="version 99"):
        Store(tmp_path / "history.db")


def test_a_foreign_database_and_a_file_that_is_none_are_refused(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "other.db") as other:
        other.execute("CREATE TABLE things (a)")
    with pytest.raises(StoreError, match="not a history"):
        Store(tmp_path / "other.db")
    (tmp_path / "text.db").write_text("round sheet\n" * 100)
    with pytest.raises(StoreError, match="not a database"):
        Store(tmp_path / "text.db")


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be opened"):
        Store(tmp_path / "nowhere" / "history.db")


def _pull(path: Path, low: int) -> None:
    with Store(path, busy_timeout_s=20) as store:
        for first in range(low, low + 100, 10):
            store.ingest(PROBE, [reading(seq) for seq in range(first, first + 15)])


def test_a_new_history_may_be_opened_by_several_at_once(tmp_path: Path) -> None:
    for number in range(5):
        path = tmp_path / f"{number}.db"
        with ThreadPoolExecutor(4) as pool:
            made = list(pool.map(lambda _n, path=path: Store(path, busy_timeout_s=20), range(4)))
        for store in made:
            store.close()
        with Store(path) as store:
            assert count(store) == 0


def _hold(path: Path, held: Event) -> None:
    """Another program that has just begun to make the history: it holds the file's lock for half a second."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("BEGIN IMMEDIATE")
    held.set()
    time.sleep(0.5)
    connection.rollback()


def test_a_new_history_waits_for_the_program_that_holds_its_file(tmp_path: Path) -> None:
    """SQLite itself does not wait when a file is switched to a write-ahead log."""
    context = multiprocessing.get_context("spawn")
    held = context.Event()
    holder = context.Process(target=_hold, args=(tmp_path / "new.db", held))
    holder.start()
    try:
        assert held.wait(60)
        with Store(tmp_path / "new.db", busy_timeout_s=20) as store:
            assert count(store) == 0
    finally:
        holder.join(60)


def test_a_new_history_whose_file_stays_held_is_refused_in_words(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "new.db", isolation_level=None) as holder:
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="locked by another program"):
            Store(tmp_path / "new.db", busy_timeout_s=0.1)


def _open_new(folder: Path, together: Barrier) -> None:
    for number in range(NEW_HISTORIES):
        together.wait()
        with Store(folder / f"{number}.db", busy_timeout_s=20) as store:
            assert count(store) == 0


def test_two_programs_may_open_new_histories_at_once(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    together = context.Barrier(2, timeout=20)
    programs = [context.Process(target=_open_new, args=(tmp_path, together)) for _ in range(2)]
    for program in programs:
        program.start()
    for program in programs:
        program.join(120)
    assert [program.exitcode for program in programs] == [0, 0]


def test_two_benches_pulling_the_same_probe_at_once_store_each_record_once(
    store: Store, tmp_path: Path
) -> None:
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_pull, args=(tmp_path / "history.db", low)) for low in (1, 41)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert [worker.exitcode for worker in workers] == [0, 0]
    assert count(store) == 145
    assert store.stored_to(PROBE) == 145


@given(st.lists(st.integers(1, 40), max_size=60))
def test_runs_hold_exactly_the_numbers_given(seqs: list[int]) -> None:
    merged = runs.merged((seq, seq) for seq in seqs)
    assert {seq for first, last in merged for seq in range(first, last + 1)} == set(seqs)
    assert all(first > before[1] + 1 for before, (first, _) in pairwise(merged))
    missing = {seq for first, last in runs.gaps(merged) for seq in range(first, last + 1)}
    assert missing == set(range(min(seqs, default=1), max(seqs, default=0) + 1)) - set(seqs)
