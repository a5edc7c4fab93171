"""A history that is not there: commands that use one say so and make no file; the few that begin one make it."""

from pathlib import Path

import pytest
from curbtick.commands.probe import probes

from tests.unit.bench.commands.test_commands import call, json_of, refused


@pytest.mark.parametrize(
    "words",
    [
        ("report", "--out", "pages"),
        ("export", "all.csv"),
        ("export", "waves", "--wav"),
        ("reading", "302a11-2"),
        ("vehicles",),
        ("vehicles", "rename", "Van 1", "Van 2"),
        ("work",),
        ("work", "print", "--out", "pages"),
        ("work", "done", "1", "clean"),
        ("swap", "Van 1", "1", "2"),
        ("assign",),
        ("limits", "show"),
        ("limits", "fit"),
        ("limits", "send", "--yes"),
        ("round", "print"),
        ("round", "send"),
        ("study", "fill", "plan.csv", "302a11-2"),
        ("db", "status"),
        ("db", "bench", "north", "--depot", "Harbour"),
        ("probes", "describe", "302a11", "--depot", "Harbour"),
    ],
    ids=" ".join,
)
def test_a_missing_history_is_said_and_not_made(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plan.csv").write_text(
        "run,technician,part,truth,trial,reading,verdict,level_db\n1,A,A,pass,1,,,\n"
    )
    absent = tmp_path / "absent.db"
    refused(4, f"There is no history {absent}", *words, db=absent)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["plan.csv"]


def test_an_empty_file_is_no_history_either(tmp_path: Path) -> None:
    empty = tmp_path / "empty.db"
    empty.touch()
    refused(4, f"There is no history {empty}", "work", db=empty)
    assert empty.stat().st_size == 0


def test_a_probe_is_seen_before_there_is_a_history(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(probes, "find_ports", list)
    assert json_of("probes", db=tmp_path / "absent.db") == {"plugged": [], "known": []}
    assert "There is no history" in call("probes", db=tmp_path / "absent.db").output
    assert not list(tmp_path.iterdir())


def test_a_history_begins_with_a_vehicle(tmp_path: Path) -> None:
    json_of("vehicles", "add", "Van 1", "--rear", "4x48", db=tmp_path / "new.db")
    assert json_of("vehicles", db=tmp_path / "new.db")["vehicles"][0]["name"] == "Van 1"
