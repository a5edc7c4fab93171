"""Sending: the difference and what it would have changed are shown first, and nothing is sent without a
yes.
"""

import json
from pathlib import Path

import pytest
from curbtick.commands import main
from curbtick.dates import now_ms
from curbtick.errors import InputError
from curbtick.limits import sets
from curbtick.link.request import RefusedError, SilentError
from curbtick.store import tables
from curbtick.store.history import Store
from sqlalchemy import select
from typer.testing import CliRunner, Result

from tests.unit.bench.benchdata import PROBE, Logbook, add_round, add_vehicle
from tests.unit.bench.fake_client import FakeClient


@pytest.fixture
def probe(monkeypatch: pytest.MonkeyPatch) -> FakeClient:
    """It has the two records that the fixture `db` pulled, and one more."""
    client = FakeClient()
    client.last_seq = 3

    def connect(_port: str | None = None) -> FakeClient:
        return client

    for command in ("limits", "round"):
        monkeypatch.setattr(f"curbtick.commands.probe.{command}.connect", connect)
    return client


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
    return CliRunner().invoke(main.app, arguments, input=answer)


def test_without_a_yes_nothing_is_sent_and_nothing_stored(probe: FakeClient, db: Path) -> None:
    for answer in ("n\n", "\n", ""):
        assert send(db, stricter(db), answer=answer).exit_code != 0
        assert probe.in_force == sets.factory()
    with Store(db) as store, store.read() as connection:
        assert list(sets.all_sets(connection)) == [1]


def test_the_difference_and_last_months_changes_are_shown_before_the_question(
    probe: FakeClient, db: Path
) -> None:
    shown = send(db, stricter(db), answer="n\n").output
    assert "class 48: pass_cdb -2000 -> -1500" in shown
    assert "1 from pass to weak" in shown
    assert shown.index("pass_cdb") < shown.index("Send these limits")


def test_with_a_yes_it_is_stored_sent_and_noted(probe: FakeClient, db: Path) -> None:
    found = send(db, stricter(db), "--json", answer="y\n")
    assert found.exit_code == 0, found.output
    shown = json.loads(found.stdout)
    assert shown["sent_revision"] == 2 and probe.in_force["revision"] == 2
    assert probe.in_force["classes"][1]["pass_cdb"] == -1500
    assert shown["last_month"] == {"judged": 1, "changed": {"pass to weak": 1}}
    with Store(db) as store, store.read() as connection:
        assert sets.load(connection) == probe.in_force


def test_the_same_limits_are_not_sent_again(probe: FakeClient, db: Path) -> None:
    found = send(db, "--json")
    assert found.exit_code == 0 and json.loads(found.stdout)["sent_revision"] is None


@pytest.mark.parametrize("text", ["pass_cdb = 3\n", "nonsense", ""])
def test_a_file_that_makes_no_sense_is_not_sent(probe: FakeClient, db: Path, text: str) -> None:
    path = db.parent / "bad.toml"
    path.write_text(text)
    found = send(db, path, "--yes")
    assert found.exit_code == 2 and "makes no sense" in found.stderr
    assert probe.in_force == sets.factory()


def test_a_file_or_revision_that_is_not_there_is_said(probe: FakeClient, db: Path) -> None:
    assert "cannot be read" in send(db, db.parent / "none.toml", "--yes").stderr
    assert "no limit set of revision 7" in send(db, "7", "--yes").stderr


def send_round(db: Path, *words: str) -> Result:
    return CliRunner().invoke(main.app, ["round", "send", *words, "--json", "--db", str(db)])


def notes(db: Path) -> list[int]:
    """Numbers of the rounds that were noted as sent, but for those of the fixture."""
    columns = tables.sends.c
    with Store(db) as store, store.read() as connection:
        query = select(columns.number).where(columns.what == "round").order_by(columns.at_ms)
        return list(connection.execute(query).scalars())


def test_a_round_is_sent_as_it_was_made(probe: FakeClient, db: Path) -> None:
    found = send_round(db)
    assert json.loads(found.stdout) == {"round": 1, "probe": PROBE, "vehicles": 1, "notes": []}
    assert probe.rounds[0]["vehicles"][0]["rear_class_khz"] == 48


def test_each_sending_of_a_round_is_noted(probe: FakeClient, db: Path) -> None:
    send_round(db)
    probe.last_seq = 9
    send_round(db)
    assert len(probe.rounds) == 2 and notes(db) == [1, 1]


def test_a_bench_that_may_not_send_notes_nothing(probe: FakeClient, db: Path) -> None:
    probe.has_key = False
    send_round(db)
    assert notes(db) == []


@pytest.mark.parametrize(
    "error",
    [
        RefusedError("unknown_key", "a round", "", 0),
        InputError("The keys cannot be read.", "Nothing.", "See."),
    ],
)
def test_a_round_that_the_probe_did_not_take_leaves_no_note(
    probe: FakeClient, db: Path, error: Exception
) -> None:
    with Store(db) as store:
        add_round(store, 2, [add_vehicle(store, "Van 2")])
    probe.error = error
    assert send_round(db).exit_code != 0 and notes(db) == []


@pytest.mark.parametrize("error", [SilentError("The probe is silent.", "-", "-"), KeyboardInterrupt()])
def test_a_round_that_the_probe_may_have_taken_is_noted(
    probe: FakeClient, db: Path, error: BaseException
) -> None:
    probe.error = error
    assert send_round(db).exit_code != 0 and notes(db) == [1]
