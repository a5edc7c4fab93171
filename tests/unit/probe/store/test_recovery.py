"""What a start makes of damaged files: nothing unchecked is believed, nothing whole is lost, no number comes again."""

import os
import shutil
from pathlib import Path

import pytest
from curbtick_probe.store import log, slots
from curbtick_probe.store import state as log_state
from curbtick_wire import codec, records
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.unit.probe.store.flashdata import (
    EVENT,
    events,
    fill,
    flip,
    held,
    log_folder,
    reading,
    remove_state,
    segment_files,
    snippet,
    start,
)

QUIET = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def before(tmp_path: Path) -> dict[int, bytes]:
    kept = start(tmp_path)
    fill(kept, 6)
    kept.close()
    return held(kept)


def _of(kind: int, seq: int) -> tuple[int, dict[str, int]]:
    return kind, {"seq": seq, "boot": 1, "ticks_ms": 5}


def _restart(root: Path, boot: int = 2) -> log.Log:
    again = start(root, boot)
    again.close()
    return again


@pytest.mark.parametrize("letter", ["r", "w"])
def test_a_torn_tail_is_passed_over_and_reported_once(
    tmp_path: Path, before: dict[int, bytes], letter: str
) -> None:
    with segment_files(tmp_path, letter)[0].open("ab") as file:
        file.write(codec.encode_record(*_of(records.READING, 19), *reading()[1:])[:40])
    again = start(tmp_path, boot=2)
    after = held(again)
    assert before.items() <= after.items()
    assert events(again, "gap") == [(19, 19)]
    assert again.next_seq == 21
    assert again.append(*(reading() if letter == "r" else snippet(1))) == 21
    assert len(segment_files(tmp_path, letter)) == 2
    again.close()
    assert events(_restart(tmp_path, 3), "gap") == [(19, 19)]


def test_a_damaged_record_is_a_gap_and_its_neighbours_stay(tmp_path: Path, before: dict[int, bytes]) -> None:
    file = segment_files(tmp_path, "r")[0]
    flip(file, file.read_bytes().index(before[7]) + 30)
    again = _restart(tmp_path)
    after = held(again)
    del before[7]
    assert before.items() <= after.items()
    assert 7 not in after
    assert events(again, "gap") == [(7, 7)]
    assert events(_restart(tmp_path, 3), "gap") == [(7, 7)]


def test_an_event_with_the_numbers_of_a_gap_is_not_taken_for_one(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 6)
    kept.event(EVENT["limits_changed"], 7, 7)
    raw = kept.read(7)
    kept.close()
    file = segment_files(tmp_path, "r")[0]
    flip(file, file.read_bytes().index(raw) + 30)
    assert events(_restart(tmp_path), "gap") == [(7, 7)]


def test_damage_that_lost_no_record_is_no_gap(tmp_path: Path, before: dict[int, bytes]) -> None:
    file = segment_files(tmp_path, "w")[0]
    data = file.read_bytes()
    place = data.index(before[3])
    file.write_bytes(data[:place] + b"\xff" * 10 + data[place:])
    again = _restart(tmp_path)
    assert held(again) == before
    assert events(again, "gap") == []


@pytest.mark.parametrize("seq", range(1, 19))
def test_any_one_record_damaged_is_a_gap_of_its_own(
    tmp_path: Path, before: dict[int, bytes], seq: int
) -> None:
    file = segment_files(tmp_path, "r" if seq % 3 == 1 else "w")[0]
    flip(file, file.read_bytes().index(before[seq]) + 30)
    # At the end of the readings a torn one may have followed, up to the number after the last one held.
    assert events(_restart(tmp_path), "gap") == [(seq, 19 if seq == 16 else seq)]


def test_damage_between_records_that_are_all_held_elsewhere_is_no_gap(
    tmp_path: Path, before: dict[int, bytes]
) -> None:
    file = segment_files(tmp_path, "w")[0]
    data = file.read_bytes()
    place = data.index(before[5])
    file.write_bytes(data[:place] + b"\xff" * 10 + data[place:])
    again = _restart(tmp_path)
    assert held(again) == before
    assert events(again, "gap") == []


def test_the_last_acknowledged_record_is_no_gap_and_the_one_after_it_is(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 6)
    assert kept.acknowledge(7, kept.digest(1, 7))
    before = held(kept)
    kept.close()
    file = segment_files(tmp_path, "r")[0]
    for seq in (7, 10):
        flip(file, file.read_bytes().index(before[seq]) + 30)
    assert events(_restart(tmp_path), "gap") == [(10, 10)]


def test_acknowledged_records_are_no_gap(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 6)
    assert kept.acknowledge(18, kept.digest(1, 18))
    kept.close()
    flip(segment_files(tmp_path, "r")[0], 30)
    assert events(_restart(tmp_path), "gap") == []


@QUIET
@given(data=st.data())
def test_any_byte_may_flip(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    root = tmp_path_factory.mktemp("flip")
    kept = start(root)
    fill(kept, 4)
    kept.close()
    before = held(kept)
    file = segment_files(root, data.draw(st.sampled_from("rw")))[0]
    flip(file, data.draw(st.integers(0, file.stat().st_size - 1)), data.draw(st.integers(1, 255)))
    again = start(root, boot=2)
    after = held(again)
    lost = [seq for seq in before if after.get(seq) != before[seq]]
    gaps = events(again, "gap")
    assert len(lost) == 1
    assert any(first <= lost[0] <= last for first, last in gaps)
    assert set(after) - set(before) == set(range(again.next_seq - len(gaps), again.next_seq))


@QUIET
@given(size=st.integers(0, 2500), letter=st.sampled_from("rw"))
def test_a_file_may_end_anywhere(tmp_path_factory: pytest.TempPathFactory, size: int, letter: str) -> None:
    root = tmp_path_factory.mktemp("end")
    kept = start(root)
    fill(kept, 4)
    kept.close()
    before = held(kept)
    file = segment_files(root, letter)[0]
    whole = file.read_bytes()
    file.write_bytes(whole[:size])
    after = held(_restart(root))
    for seq, raw in before.items():
        stays = raw not in whole or whole.index(raw) + len(raw) <= size
        assert (after.get(seq) == raw) == stays


@QUIET
@given(junk=st.binary(max_size=400))
def test_any_bytes_may_stand_in_a_segment(tmp_path_factory: pytest.TempPathFactory, junk: bytes) -> None:
    root = tmp_path_factory.mktemp("junk")
    kept = start(root)
    fill(kept, 2)
    kept.close()
    before = held(kept)
    (log_folder(root) / "r00000007").write_bytes(junk)
    (log_folder(root) / "not a segment").write_bytes(junk)
    (log_folder(root) / "rzzzzzzzz").write_bytes(junk)
    again = start(root, boot=2)
    assert before.items() <= held(again).items()
    assert again.append(*reading()) >= 7
    assert again.append(*reading()) == again.next_seq - 1
    assert before.items() <= held(again).items()


def test_a_segment_that_cannot_be_read_is_a_gap(tmp_path: Path, before: dict[int, bytes]) -> None:
    os.mkdir(log_folder(tmp_path) / "r00000020")
    again = start(tmp_path, boot=2)
    assert before.items() <= held(again).items()
    assert events(again, "gap") == [(0x20, 0x20)]
    assert again.next_seq == 0x22


def test_a_doubled_record_counts_once(tmp_path: Path, before: dict[int, bytes]) -> None:
    with segment_files(tmp_path, "r")[0].open("ab") as file:
        file.write(before[1] + before[16])
    again = _restart(tmp_path)
    assert {seq: raw for seq, raw in held(again).items() if seq < 19} == before
    assert events(again, "gap") == [(19, 19)]


def test_numbers_go_on_when_the_state_is_lost(tmp_path: Path, before: dict[int, bytes]) -> None:
    remove_state(tmp_path)
    again = start(tmp_path, boot=2)
    assert again.append(*reading()) == 19
    assert events(again, "gap") == []


def test_numbers_go_on_when_the_newest_records_are_lost(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 2)
    assert kept.acknowledge(2, kept.digest(1, 2))
    kept.close()
    for file in segment_files(tmp_path, "w"):
        file.unlink()
    again = start(tmp_path, boot=2)
    assert events(again, "gap") == [(5, 6)]
    assert again.append(*reading()) == 8


def test_a_segment_just_started_keeps_its_number(tmp_path: Path, before: dict[int, bytes]) -> None:
    (log_folder(tmp_path) / "r00000030").write_bytes(b"")
    again = start(tmp_path, boot=2)
    assert events(again, "gap") == []
    assert again.append(*reading()) == 0x30
    assert before.items() <= held(again).items()


def test_a_drop_that_was_cut_short_is_finished_and_recorded(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 60)
    kept.close()
    first_of_second = int(segment_files(tmp_path, "w")[1].name[1:], 16)
    state = log_state.State(str(tmp_path))
    state.widen_drop(2, first_of_second - 1)
    state.save(181)
    again = start(tmp_path, boot=2)
    waves = [seq for seq in held(again) if (seq - 1) % 3]
    assert min(waves) >= first_of_second
    assert events(again, "snippets_dropped") == [(2, first_of_second - 1)]
    assert again.drop_pending == (0, 0)
    again.close()
    assert len(events(_restart(tmp_path, 3), "snippets_dropped")) == 1


@pytest.mark.parametrize(("drop_last", "gaps"), [(18, []), (17, [(17, 18)])])
def test_a_drop_of_the_newest_numbers_is_told_from_a_loss(
    tmp_path: Path, before: dict[int, bytes], drop_last: int, gaps: list[tuple[int, int]]
) -> None:
    """The waves' files are gone already, their numbers stand in no record: only the state knows of them."""
    for file in segment_files(tmp_path, "w"):
        file.unlink()
    state = log_state.State(str(tmp_path))
    state.widen_drop(2, drop_last)
    state.save(19)
    again = start(tmp_path, boot=2)
    assert events(again, "gap") == gaps
    assert events(again, "snippets_dropped") == [(2, drop_last)]
    assert min(set(held(again)) - set(before)) == 19


@pytest.mark.parametrize(("room", "segments"), [(86, 2), (87, 1)])
def test_a_drop_is_recorded_in_a_new_segment_where_the_last_is_nearly_full(
    tmp_path: Path, room: int, segments: int
) -> None:
    """Room for the event and for two more that only LOG_FULL may take: 3 of 29 bytes."""
    kept = start(tmp_path)
    left = kept._room.segment_bytes - room
    readings = next(count for count in range(29) if (left - 86 * count) % 29 == 0)
    event = (records.EVENT, {"event": 0, "value": 0, "extra": 0}, b"")
    numbers = kept.append_all([reading()] * readings)
    for _ in range((left - 86 * readings) // 29 - (2 if room < 87 else 0)):
        numbers += kept.append_all([event])
    kept.close()
    with segment_files(tmp_path, "r")[0].open("ab") as file:
        while file.tell() < left:
            numbers.append(numbers[-1] + 1)
            file.write(codec.encode_record(*_of(event[0], numbers[-1]), event[1]))
    state = log_state.State(str(tmp_path))
    state.widen_drop(1, 2)
    state.save(numbers[-1] + 1)
    again = start(tmp_path, boot=2)
    assert events(again, "snippets_dropped") == [(1, 2)]
    assert again.drop_pending == (0, 0)
    assert len(segment_files(tmp_path, "r")) == segments


def test_the_state_survives_a_damaged_slot(tmp_path: Path) -> None:
    state = log_state.State(str(tmp_path))
    state.acknowledged = 5
    state.save(9)
    state.acknowledged = 7
    state.save(12)
    assert state.floor == 12
    newest = slots.Slots(str(tmp_path), "log")
    assert newest.generation == 3
    flip(tmp_path / "log.0", 9)
    again = log_state.State(str(tmp_path))
    assert (again.floor, again.acknowledged) in ((9, 5), (12, 7))


def test_a_new_log_has_an_id_and_keeps_it(tmp_path: Path) -> None:
    log_id = start(tmp_path).log_id
    assert 1 <= log_id <= records.NONE_U32
    assert start(tmp_path, boot=2).log_id == log_id


def test_the_id_is_drawn_again_only_where_neither_a_segment_nor_an_id_is_left(
    tmp_path: Path, before: dict[int, bytes]
) -> None:
    first = start(tmp_path, boot=2)
    first.close()
    remove_state(tmp_path)
    second = start(tmp_path, boot=3)
    assert (second.log_id, held(second)) == (first.log_id, before)
    second.close()
    remove_state(tmp_path)
    shutil.rmtree(log_folder(tmp_path))
    third = start(tmp_path, boot=4)
    assert third.log_id != first.log_id
    assert third.append(*reading()) == 1


def test_no_damage_to_a_file_changes_the_id(tmp_path: Path, before: dict[int, bytes]) -> None:
    log_id = start(tmp_path, boot=2).log_id
    remove_state(tmp_path)
    for letter in "rw":
        for file in segment_files(tmp_path, letter):
            file.write_bytes(b"\xff" * file.stat().st_size)
    again = start(tmp_path, boot=3)
    assert again.log_id == log_id
    assert not set(held(again).values()) & set(before.values())


def test_the_id_kept_is_taken_where_its_folder_was_not_made_yet(tmp_path: Path) -> None:
    log_id = log_state.State(str(tmp_path)).log_id
    assert list(tmp_path.glob("log????????")) == []
    assert start(tmp_path).log_id == log_id
    assert log_folder(tmp_path).name == f"log{log_id:08x}"


def test_what_was_kept_of_another_log_says_nothing_of_this_one(
    tmp_path: Path, before: dict[int, bytes]
) -> None:
    kept = start(tmp_path, boot=2)
    assert kept.acknowledge(18, kept.digest(1, 18))
    kept.close()
    log_folder(tmp_path).rename(tmp_path / f"log{kept.log_id ^ 1:08x}")
    other = start(tmp_path, boot=3)
    assert (other.log_id, other.acknowledged) == (kept.log_id ^ 1, 0)
    assert held(other) == before
