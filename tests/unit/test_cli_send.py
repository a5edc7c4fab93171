"""Sending: the difference and what it would have changed are shown first, and nothing is sent without a
yes.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from curbtick import bench, cli
from curbtick.limits import sets
from curbtick.store import Store
from curbtick.store.engine import now_ms
from typer.testing import CliRunner, Result

from tests.unit.benchdata import PROBE, Logbook, add_round, add_vehicle


class Taker:
    """A probe that takes what it is sent; the real one is driven by the tests of both ends together."""

    unique_id = PROBE

    def __init__(self) -> None:
        self.in_force = sets.factory()
        self.rounds: list[dict[str, Any]] = []

    def limits(self) -> sets.LimitSet:
        return self.in_force

    def send_limits(self, limit_set: sets.LimitSet) -> None:
        self.in_force = limit_set

    def send_round(self, made: dict[str, Any]) -> None:
        self.rounds.append(made)


@pytest.fixture
def probe(monkeypatch: pytest.MonkeyPatch) -> Taker:
    taker = Taker()

    @contextmanager
    def connect(_port: str | None = None) -> Iterator[Taker]:
        yield taker

    monkeypatch.setattr(bench, "connect", connect)
    return taker


@pytest.fixture
def db(tmp_path: Path) -> Path:
    with Store(tmp_path / "history.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        Logbook(store).visit(now_ms() - 86_400_000, {"round_id": 1, "level_cdb": -1600})
    return tmp_path / "history.db"


def stricter(db: Path) -> Path:
    limit_set = sets.factory()
    limit_set["classes"][1]["pass_cdb"] = -1500
    path = db.parent / "stricter.toml"
    path.write_text(sets.to_toml(limit_set))
    return path


def send(db: Path, *words: str | Path, answer: str = "") -> Result:
    arguments = ["limits", "send", *map(str, words), "--db", str(db)]
    return CliRunner().invoke(cli.app, arguments, input=answer)


def test_without_a_yes_nothing_is_sent_and_nothing_stored(probe: Taker, db: Path) -> None:
    for answer in ("n\n", "\n", ""):
        assert send(db, stricter(db), answer=answer).exit_code != 0
        assert probe.in_force == sets.factory()
    with Store(db) as store, store.read() as connection:
        assert list(sets.all_sets(connection)) == [1]


def test_the_difference_and_last_months_changes_are_shown_before_the_question(probe: Taker, db: Path) -> None:
    shown = send(db, stricter(db), answer="n\n").output
    assert "class 48: pass_cdb -1700 -> -1500" in shown
    assert "1 from pass to weak" in shown
    assert shown.index("pass_cdb") < shown.index("Send these limits")


def test_with_a_yes_it_is_stored_sent_and_noted(probe: Taker, db: Path) -> None:
    found = send(db, stricter(db), "--json", answer="y\n")
    assert found.exit_code == 0, found.output
    shown = json.loads(found.stdout)
    assert shown["sent_revision"] == 2 and probe.in_force["revision"] == 2
    assert probe.in_force["classes"][1]["pass_cdb"] == -1500
    assert shown["last_month"] == {"judged": 1, "changed": {"pass to weak": 1}}
    with Store(db) as store, store.read() as connection:
        assert sets.load(connection) == probe.in_force


def test_the_same_limits_are_not_sent_again(probe: Taker, db: Path) -> None:
    found = send(db, "--json")
    assert found.exit_code == 0 and json.loads(found.stdout)["sent_revision"] is None


@pytest.mark.parametrize("text", ["pass_cdb = 3\n", "nonsense", ""])
def test_a_file_that_makes_no_sense_is_not_sent(probe: Taker, db: Path, text: str) -> None:
    path = db.parent / "bad.toml"
    path.write_text(text)
    found = send(db, path, "--yes")
    assert found.exit_code == 2 and "makes no sense" in found.stderr
    assert probe.in_force == sets.factory()


def test_a_file_or_revision_that_is_not_there_is_said(probe: Taker, db: Path) -> None:
    assert "cannot be read" in send(db, db.parent / "none.toml", "--yes").stderr
    assert "no limit set of revision 7" in send(db, "7", "--yes").stderr


def test_a_round_is_sent_as_it_was_made(probe: Taker, db: Path) -> None:
    found = CliRunner().invoke(cli.app, ["round", "send", "--json", "--db", str(db)])
    assert json.loads(found.stdout) == {"round": 1, "probe": PROBE, "vehicles": 1, "notes": []}
    assert probe.rounds[0]["vehicles"][0]["rear_class_khz"] == 48
