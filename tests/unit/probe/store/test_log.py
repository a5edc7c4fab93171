"""The log as its users see it: appending, reading, acknowledging, going on after a restart."""

import os
from pathlib import Path

import pytest
from curbtick_probe.store import clock, log, scan
from curbtick_probe.store import shelf as log_shelf
from curbtick_wire import codec, records
from curbtick_wire.errors import WireError

from tests.unit.probe.store.flashdata import (
    EVENT,
    FailingFile,
    digest_of,
    fill,
    held,
    log_folder,
    pull,
    reading,
    segment_files,
    snippet,
    sounds,
    start,
)


def test_a_record_reads_back_as_encoded(tmp_path: Path) -> None:
    kept = start(tmp_path, boot=7)
    kind, values, tail = reading(12)
    seq = kept.append(kind, values, tail)
    header = {"seq": seq, "boot": 7, "ticks_ms": 1007}
    assert kept.read(seq) == codec.encode_record(kind, header, values, tail)


def test_numbers_run_from_one_without_a_hole(tmp_path: Path) -> None:
    kept = start(tmp_path)
    assert kept.next_seq == 1
    assert [kept.append(*reading()) for _ in range(3)] == [1, 2, 3]
    assert kept.append_all([snippet(3), sounds(3), reading()]) == [4, 5, 6]
    assert kept.next_seq == 7
    assert list(held(kept)) == [1, 2, 3, 4, 5, 6]


def test_an_empty_log(tmp_path: Path) -> None:
    kept = start(tmp_path)
    assert (kept.first_seq, kept.last_seq, kept.held_from(1), kept.acknowledged, kept.dropped) == (
        0,
        0,
        0,
        0,
        0,
    )
    assert kept.read(1) is None
    assert list(kept.iter_from(1)) == []


def test_what_is_not_held_reads_as_none(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 2)
    assert kept.read(7) is None
    assert kept.read(0) is None
    assert kept.held_from(7) == 0


def test_reading_in_any_order_gives_the_same(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 40)
    expected = held(kept)
    for seq in (1, 120, 2, 60, 61, 59, 59, 3, 120, 1):
        assert kept.read(seq) == expected[seq]
        assert kept.held_from(seq) == seq


def test_iterating_starts_where_asked(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 30)
    expected = held(kept)
    for first in (1, 2, 45, 46, 47, 90):
        assert list(kept.iter_from(first)) == [expected[seq] for seq in range(first, 91)]


def test_reading_goes_on_while_records_are_appended(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 5)
    seen = []
    for raw in kept.iter_from(1):
        seen.append(codec.check_record(raw)["seq"])
        if len(seen) < 10:
            kept.append(*reading(len(seen)))
    assert seen == list(range(1, 15 + 9 + 1))


def test_a_restart_keeps_every_record_and_goes_on_numbering(tmp_path: Path) -> None:
    kept = start(tmp_path, boot=1)
    fill(kept, 30)
    before = held(kept)
    kept.close()
    again = start(tmp_path, boot=2)
    assert held(again) == before
    assert again.append(*reading()) == 91
    assert codec.decode_record(again.read(91))["boot"] == 2
    assert len(segment_files(tmp_path, "r")) == 1


def test_a_closed_log_holds_no_file(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 1)
    kept.close()
    assert [shelf._file for shelf in (kept._readings, kept._waves)] == [None, None]
    assert list(held(kept)) == [1, 2, 3]


def test_a_segment_never_outgrows_its_blocks(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 200)
    for letter in "rw":
        sizes = [file.stat().st_size for file in segment_files(tmp_path, letter)]
        assert len(sizes) > 1
        assert max(sizes) <= 4 * (4096 - 4)
        assert min(sizes[:-1]) > 4 * (4096 - 4) - records.SNIPPET_MAX
    assert list(held(kept)) == list(range(1, 601))


def test_an_event_carries_its_numbers(tmp_path: Path) -> None:
    kept = start(tmp_path)
    seq = kept.event(EVENT["limits_changed"], 3, 9)
    values = codec.decode_record(kept.read(seq))["values"]
    assert values == {"event": EVENT["limits_changed"], "value": 3, "extra": 9}
    values = codec.decode_record(kept.read(kept.event(EVENT["start"])))["values"]
    assert values == {"event": EVENT["start"], "value": 0, "extra": 0}


def test_a_value_out_of_range_changes_nothing(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 1)
    before = held(kept)
    kind, values, _tail = reading()
    with pytest.raises(WireError, match="vehicle"):
        kept.append(kind, values | {"vehicle": 100})
    assert held(kept) == before
    assert kept.append(*reading()) == 4


def test_the_digest_is_over_the_raw_records(tmp_path: Path) -> None:
    kept = start(tmp_path)
    fill(kept, 4)
    raws = held(kept)
    assert kept.digest(3, 9) == digest_of(kept.log_id, [raws[seq] for seq in range(3, 10)])
    assert kept.digest(1, 12) == digest_of(kept.log_id, list(raws.values()))


class TestAcknowledging:
    def test_a_right_digest_is_taken_and_durable(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 4)
        assert kept.acknowledge(9, kept.digest(1, 9))
        assert kept.acknowledged == 9
        assert start(tmp_path, boot=2).acknowledged == 9

    def test_the_next_one_starts_above_the_last(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 4)
        assert kept.acknowledge(5, kept.digest(1, 5))
        assert not kept.acknowledge(8, kept.digest(1, 8))
        assert kept.acknowledge(8, kept.digest(6, 8))
        assert kept.acknowledge(12, kept.digest(1, 12), first=1)

    def test_a_wrong_digest_is_refused(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 2)
        assert not kept.acknowledge(5, kept.digest(1, 4))
        assert not kept.acknowledge(5, b"")
        assert kept.acknowledged == 0

    def test_more_than_is_held_is_refused(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 2)
        assert not kept.acknowledge(7, kept.digest(1, 7))
        assert kept.acknowledge(6, kept.digest(1, 6))

    def test_records_in_between_must_be_covered(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 2)
        assert not kept.acknowledge(6, kept.digest(2, 6), first=2)
        assert kept.acknowledge(6, kept.digest(1, 6), first=1)

    def test_it_is_idempotent_and_never_goes_back(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 2)
        assert kept.acknowledge(6, kept.digest(1, 6))
        assert kept.acknowledge(6, kept.digest(1, 6))
        assert kept.acknowledge(3, b"another bench, later")
        assert kept.acknowledged == 6

    def test_it_frees_nothing_while_there_is_room(self, tmp_path: Path) -> None:
        kept = start(tmp_path)
        fill(kept, 60)
        before = held(kept)
        pull(kept)
        fill(kept, 60)
        assert held(kept).items() >= before.items()


class TestFailingFlash:
    @pytest.fixture
    def kept(self, tmp_path: Path) -> log.Log:
        first = start(tmp_path)
        fill(first, 3)
        first.close()
        return start(tmp_path, boot=2)

    @staticmethod
    def _fail(monkeypatch: pytest.MonkeyPatch, operation: str, done: bool) -> None:
        def opened(path: str, mode: str) -> object:
            monkeypatch.delattr(log_shelf, "open")
            return FailingFile(path, mode, operation, done)

        monkeypatch.setattr(log_shelf, "open", opened, raising=False)

    @pytest.mark.parametrize("operation", ["write", "flush"])
    def test_a_reading_not_stored_is_said(
        self, kept: log.Log, monkeypatch: pytest.MonkeyPatch, operation: str
    ) -> None:
        before = held(kept)
        self._fail(monkeypatch, operation, done=False)
        with pytest.raises(log.LogFull, match="flash"):
            kept.append(*reading(50))
        seq = kept.append(*reading(51))
        after = held(kept)
        assert {number: after[number] for number in before} == before
        assert codec.decode_record(after[seq])["values"]["listened_ms"] == 51

    def test_a_reading_stored_in_spite_of_an_error_counts_once(
        self, kept: log.Log, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        self._fail(monkeypatch, "flush", done=True)
        seq = kept.append(*reading(50))
        assert seq == 10
        assert kept.append(*reading(51)) == 11
        numbers = [codec.decode_record(raw)["values"].get("listened_ms") for raw in held(kept).values()]
        assert numbers.count(50) == numbers.count(51) == 1

    def test_waves_not_stored_are_counted_and_no_error(
        self, kept: log.Log, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        self._fail(monkeypatch, "write", done=False)
        assert kept.append_all([snippet(1), sounds(1)]) == [0, 0]
        assert kept.dropped == 2
        assert kept.append_all([snippet(1), sounds(1)]) == [10, 11]
        assert list(held(kept)) == list(range(1, 12))

    @pytest.mark.parametrize("done", [False, True])
    def test_waves_count_as_stored_where_they_are(
        self, kept: log.Log, monkeypatch: pytest.MonkeyPatch, done: bool
    ) -> None:
        self._fail(monkeypatch, "flush", done)
        assert kept.append_all([snippet(1), sounds(1)]) == ([10, 11] if done else [0, 0])
        assert kept.dropped == (0 if done else 2)
        assert kept.append_all([snippet(1), sounds(1)]) == ([12, 13] if done else [10, 11])
        assert list(held(kept)) == list(range(1, 14 if done else 12))

    def test_a_segment_that_cannot_be_started(self, kept: log.Log, monkeypatch: pytest.MonkeyPatch) -> None:
        def refuse(path: str, mode: str) -> object:
            if mode == "rb":
                return open(path, mode)  # noqa: SIM115
            raise OSError(28, "no space")

        before = held(kept)
        monkeypatch.setattr(log_shelf, "open", refuse, raising=False)
        with pytest.raises(log.LogFull):
            kept.append(*reading())
        assert kept.event(EVENT["start"]) == 0
        assert held(kept) == before


def test_the_look_for_the_highest_boot_leaves_no_file_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = start(tmp_path, boot=4)
    fill(kept, 2)
    kept.close()
    opened = []

    def note(path: str, mode: str) -> object:
        opened.append(open(path, mode))  # noqa: SIM115
        return opened[-1]

    monkeypatch.setattr(scan, "open", note, raising=False)
    assert clock.highest_boot(str(tmp_path)) == 4
    assert [file.closed for file in opened] == [True, True]


def test_the_highest_boot_is_found_in_either_shelf(tmp_path: Path) -> None:
    assert clock.highest_boot(str(tmp_path)) == 0
    kept = start(tmp_path, boot=4)
    assert clock.highest_boot(str(tmp_path)) == 0
    (log_folder(tmp_path) / f"w00000001-{kept.log_id:08x}").write_bytes(b"")
    assert clock.highest_boot(str(tmp_path)) == 0
    kept.append(*reading())
    kept.close()
    assert clock.highest_boot(str(tmp_path)) == 4
    again = start(tmp_path, boot=9)
    again.append(*snippet(1))
    again.close()
    assert clock.highest_boot(str(tmp_path)) == 9
    os.mkdir(log_folder(tmp_path) / "r00000fff")
    assert clock.highest_boot(str(tmp_path)) == 9
