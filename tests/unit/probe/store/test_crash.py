"""The record of a crash: what it keeps, and how much of a long place."""

from pathlib import Path

from curbtick_probe.store.crash import write_crash
from curbtick_wire import codec, names, records

from tests.unit.probe.store.flashdata import EVENT, SmallDisk, start


def test_a_crash_is_logged_with_its_place(tmp_path: Path) -> None:
    kept = start(tmp_path, boot=4)
    seq = write_crash(kept, "watchdog", "listen.py 214 step", 3, 90_000)
    record = codec.decode_record(kept.read(seq))
    assert record["kind"] == records.CRASH
    assert record["values"] == {
        "crash_boot": 3,
        "crash_ticks_ms": 90_000,
        "cause": names.CRASHES.index("watchdog"),
    }
    assert record["tail"] == b"listen.py 214 step"


def test_what_is_not_known_says_so_and_the_end_of_a_long_place_is_kept(tmp_path: Path) -> None:
    kept = start(tmp_path)
    raw = kept.read(write_crash(kept, "error", "x" * 200 + "log.py 99"))
    record = codec.decode_record(raw)
    assert len(raw) <= records.RECORD_MAX
    assert (record["values"]["crash_boot"], record["values"]["crash_ticks_ms"]) == (0, records.NONE_U32)
    assert record["tail"].endswith(b"xlog.py 99")


def test_a_full_log_takes_no_crash(tmp_path: Path, monkeypatch) -> None:
    SmallDisk(tmp_path, 28).install(monkeypatch)
    kept = start(tmp_path)
    while kept.event(EVENT["start"]):
        continue
    assert write_crash(kept, "error", "log.py 99") == 0
