"""Where `curbtick demo` makes room and where it must not, and what `replay` and `virtual` refuse beforehand."""

import json
from pathlib import Path
from typing import Any

import pytest
from curbtick.commands import errors
from curbtick.commands.virtual.demo import UNFINISHED
from curbtick.store.history import Store
from curbtick.virtual.probe.process import DEFAULT_ID
from sqlalchemy import text

from tests.unit.bench.benchdata import PROBE, reading
from tests.unit.bench.commands.test_commands import call, refused

SUMMARY = {"seed": 1, "readings": [], "bumpers": [], "checks": [], "differences": [], "agrees": True}


class FakeDemo:
    """A day that takes no time: writes two pages, or is broken off before the second."""

    broken_off = False

    def __init__(self, _store: Any, folder: Path, *_: Any) -> None:
        self._report = folder / "report"

    def run(self) -> dict[str, Any]:
        self._report.mkdir(exist_ok=True)
        (self._report / "vehicle-1.html").write_text("new")
        if FakeDemo.broken_off:
            raise KeyboardInterrupt
        (self._report / "index.html").write_text("new")
        return SUMMARY


@pytest.fixture(autouse=True)
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("curbtick.virtual.demo.demo.Demo", FakeDemo)
    monkeypatch.setattr(FakeDemo, "broken_off", False)


def test_a_report_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "report").mkdir()
    (tmp_path / "report" / "index.html").write_text("mine")
    refused(2, "report/index.html is there already", "demo", "--out", tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["report"]
    assert (tmp_path / "report" / "index.html").read_text() == "mine"


@pytest.mark.parametrize("summary", ["{}", "not JSON", "[]"])
def test_a_summary_of_somebody_else_gives_no_leave(summary: str, tmp_path: Path) -> None:
    (tmp_path / "summary.json").write_text(summary)
    (tmp_path / "curbtick.db").write_bytes(b"precious")
    refused(2, "was not made by the demo", "demo", "--out", tmp_path)
    assert (tmp_path / "summary.json").read_text() == summary
    assert (tmp_path / "curbtick.db").read_bytes() == b"precious"


def test_the_next_demo_takes_away_only_what_a_demo_makes(tmp_path: Path) -> None:
    assert call("demo", "--out", tmp_path).exit_code == 0
    kept = [
        tmp_path / "report" / "notes.html",
        tmp_path / "report" / "photo.jpg",
        tmp_path / "curbtick.db-copy",
    ]
    for path in kept:
        path.write_text("mine")
    (tmp_path / "report" / "vehicle-9.html").write_text("old")
    (tmp_path / "report" / "index.html").write_text("old")
    assert call("demo", "--out", tmp_path).exit_code == 0
    assert [path.read_text() for path in kept] == ["mine"] * 3
    assert not (tmp_path / "report" / "vehicle-9.html").exists()
    assert (tmp_path / "report" / "index.html").read_text() == "new"
    assert not (tmp_path / UNFINISHED).exists()


def test_a_demo_that_was_broken_off_is_repeated_as_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(FakeDemo, "broken_off", True)
    found = call("demo", "--out", tmp_path)
    assert found.exit_code == errors.INTERRUPTED and "the day begins anew" in found.stderr
    assert (tmp_path / "curbtick.db").exists() and not (tmp_path / "summary.json").exists()
    monkeypatch.setattr(FakeDemo, "broken_off", False)
    assert call("demo", "--out", tmp_path).exit_code == 0
    assert json.loads((tmp_path / "summary.json").read_text()) == SUMMARY
    assert not (tmp_path / UNFINISHED).exists()


@pytest.mark.parametrize("version", [None, "3"])
@pytest.mark.parametrize("broken_off", [False, True])
def test_a_history_into_which_a_real_probe_was_pulled_is_kept(
    tmp_path: Path, broken_off: bool, version: str | None
) -> None:
    """Whatever the version of the history, and whether the demo was finished or not."""
    assert call("demo", "--out", tmp_path).exit_code == 0
    with Store(tmp_path / "curbtick.db") as store:
        store.ingest(DEFAULT_ID, [reading(1)])
        store.ingest(PROBE, [reading(1)])
        with store.write() as connection:
            if version:
                connection.execute(text(f"UPDATE meta SET value = '{version}' WHERE key = 'schema_version'"))
    if broken_off:
        (tmp_path / UNFINISHED).write_text("")
    before = (tmp_path / "curbtick.db").read_bytes()
    refused(2, f"not the demo's: {PROBE}", "demo", "--out", tmp_path)
    assert (tmp_path / "curbtick.db").read_bytes() == before
    assert (tmp_path / "report" / "index.html").exists() and (tmp_path / "summary.json").exists()


@pytest.mark.parametrize("history", ["demo", "empty"])
def test_a_history_of_the_demos_own_probe_or_of_none_goes(tmp_path: Path, history: str) -> None:
    assert call("demo", "--out", tmp_path).exit_code == 0
    if history == "empty":
        (tmp_path / "curbtick.db").write_bytes(b"")
    else:
        with Store(tmp_path / "curbtick.db") as store:
            store.ingest(DEFAULT_ID, [reading(1)])
    assert call("demo", "--out", tmp_path).exit_code == 0
    with Store(tmp_path / "curbtick.db") as store:
        assert store.record_count(DEFAULT_ID) == 0


def test_a_damaged_history_is_not_taken_away(tmp_path: Path) -> None:
    assert call("demo", "--out", tmp_path).exit_code == 0
    (tmp_path / "curbtick.db").write_bytes(b"precious" * 1000)
    refused(4, "not a database", "demo", "--out", tmp_path)
    assert (tmp_path / "curbtick.db").read_bytes() == b"precious" * 1000


@pytest.mark.parametrize("mode", ["bumper", "seal", "hiss"])
@pytest.mark.parametrize("gain_db", ["nan", "inf", "-1000"])
def test_a_gain_that_is_none_is_refused(mode: str, gain_db: str, tmp_path: Path) -> None:
    refused(2, "makes no sense", "replay", tmp_path / "x.wav", "--mode", mode, "--gain-db", gain_db)
