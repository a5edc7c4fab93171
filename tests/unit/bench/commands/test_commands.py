"""The command line: one JSON object on standard output, three lines for an error, documented exit codes."""

import json
import os
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from curbtick import dates
from curbtick.commands import errors, main
from curbtick.store.history import Store
from curbtick.web import server
from typer.testing import CliRunner, Result

from tests.unit.bench.benchdata import NOON_MS, Logbook, add_round, add_vehicle
from tests.unit.bench.report.reportdata import Depot
from tests.unit.bench.report.test_site import Page

NOW_MS = int(datetime(2026, 11, 24, 15, 0).astimezone().timestamp() * 1000)


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bench's clock stands at the depot's day, whenever the test runs."""
    monkeypatch.setattr("curbtick.store.database.engine.time.time_ns", lambda: NOW_MS * 1_000_000)


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cli")
    Depot(folder, NOW_MS).store.close()
    return folder / "depot.db"


@pytest.fixture
def db(tmp_path: Path) -> Path:
    with Store(tmp_path / "history.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        low = {"verdict": 2, "reasons": 1, "level_cdb": -2500}
        Logbook(store).visit(NOON_MS, {"round_id": 1}, {"round_id": 1, "position": 2, **low}, {"position": 0})
    return tmp_path / "history.db"


def call(*words: str | Path, db: Path | None = None) -> Result:
    arguments = [str(word) for word in words] + (["--db", str(db)] if db else [])
    return CliRunner().invoke(main.app, arguments)


def json_of(*words: str | Path, db: Path | None = None) -> dict[str, Any]:
    """The one object of a command that must succeed."""
    found = call(*words, "--json", db=db)
    assert found.exit_code == 0, found.output
    lines = found.stdout.splitlines()
    assert len(lines) == 1, found.stdout
    made = json.loads(lines[0])
    assert isinstance(made, dict)
    return made


def refused(code: int, what: str, *words: str | Path, db: Path | None = None) -> None:
    """The command must fail with a code and exactly three lines, the first saying `what`; no traceback."""
    found = call(*words, db=db)
    assert found.exit_code == code, found.output
    lines = found.stderr.splitlines()
    assert len(lines) == 3 and all(lines), found.stderr
    assert what in lines[0]


READING = "302a11-2"


@pytest.mark.parametrize(
    "words",
    [
        ("vehicles",),
        ("probes",),
        ("work",),
        ("assign",),
        ("limits", "show"),
        ("limits", "show", "--all"),
        ("limits", "fit"),
        ("reading", READING),
        ("round", "print"),
    ],
    ids=" ".join,
)
def test_json_is_one_object_and_nothing_else(depot: Path, words: tuple[str, ...]) -> None:
    assert json_of(*words, db=depot)


@pytest.mark.parametrize(
    "words", [("vehicles",), ("probes",), ("work",), ("limits", "show"), ("reading", READING)]
)
def test_without_json_people_get_words(depot: Path, words: tuple[str, ...]) -> None:
    found = call(*words, db=depot)
    assert found.exit_code == 0 and found.stdout.strip()
    with pytest.raises(json.JSONDecodeError):
        json.loads(found.stdout)


def test_every_command_has_help() -> None:
    for words in (
        [],
        ["round"],
        ["limits"],
        ["probes"],
        ["vehicles"],
        ["work"],
        ["study"],
        ["pull"],
        ["export"],
    ):
        found = call(*words, "--help")
        assert found.exit_code == 0 and "Usage" in found.output


def test_a_day_from_file_to_report(tmp_path: Path) -> None:
    db = tmp_path / "new.db"
    (tmp_path / "round.csv").write_text(
        "vehicle,type,depot,rear_positions,rear_class_khz,front_positions,front_class_khz\nVan 1,panel van,,4,48,0,0\n"
    )
    made = json_of("round", "make", tmp_path / "round.csv", "--technician", "Ann", db=db)
    assert made["vehicles"][0]["rear"] == {"positions": 4, "class_khz": 48}
    json_of("round", "print", "--out", tmp_path / "sheet.html", db=db)
    sheet = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "Van 1" in sheet and "4 x 48 kHz" in sheet and "Immobilise the vehicle" in sheet
    with Store(db) as store:
        Logbook(store).visit(NOW_MS, {"round_id": made["round"]})
    day = dates.date(NOW_MS)
    built = json_of("report", "--out", tmp_path / "site", "--day", day, db=db)
    assert built["readings"] == 1 and Path(built["index"]).exists()


def test_vehicles_are_added_renamed_refitted_and_retired(db: Path) -> None:
    json_of("vehicles", "add", "Bus 2", "--rear", "6x58", "--front", "4xcustom", "--depot", "North", db=db)
    json_of("vehicles", "refit", "Bus 2", "rear", "4x40", db=db)
    json_of("vehicles", "rename", "Bus 2", "Shuttle", db=db)
    json_of("vehicles", "retire", "Bus 2", db=db)
    bus = next(v for v in json_of("vehicles", db=db)["vehicles"] if v["name"] == "Shuttle")
    assert bus["rear"] == {"positions": 4, "class_khz": 40} and bus["front"] == {
        "positions": 4,
        "class_khz": 0,
    }
    assert bus["retired_ms"]
    refused(2, "There is no vehicle Bus 9", "vehicles", "retire", "Bus 9", db=db)
    refused(2, "says nothing about a bumper", "vehicles", "add", "V", "--rear", "many", db=db)


def test_a_round_says_which_vehicle_a_reused_name_means(tmp_path: Path, db: Path) -> None:
    (tmp_path / "day.csv").write_text("vehicle,rear_positions,rear_class_khz\nVan 1,6,58\n")
    json_of("vehicles", "retire", "Van 1", db=db)
    (old,) = json_of("vehicles", db=db)["vehicles"]
    refused(2, f"Van 1 ({old['number']}) is retired", "round", "make", "Van 1", db=db)
    assert "retired after this round was made" in json_of("round", "print", db=db)["notes"][0]
    made = json_of("round", "make", tmp_path / "day.csv", db=db)
    (new,) = made["vehicles"]
    assert new["id"] != old["id"] and new["retired_ms"] is None
    assert made["notes"] == [
        f"Van 1 is {new['number']}; {old['number']}, which had the name before, is retired."
    ]


def test_work_is_listed_and_noted(db: Path) -> None:
    assert json_of("assign", db=db)["unassigned"] == ["302a11-4"]
    words = ("assign", "302a11-4", "--vehicle", "Van 1", "--position", "3", "--bumper", "rear")
    number = json_of(*words, db=db)["assignment"]
    findings = json_of("work", db=db)["findings"]
    assert [(f["bumper"], f["position"], f["next_step"]) for f in findings] == [("rear", 2, "clean")]
    json_of("work", "done", str(findings[0]["id"]), "clean", "--by", "Ann", db=db)
    assert json_of("work", db=db)["findings"][0]["state"] == "done"
    undone = json_of("assign", "--undo", number, db=db)
    assert undone == {"undone": number, "readings": 1}
    refused(2, f"no assignment {number} to undo", "assign", "--undo", number, db=db)
    assert "`curbtick assign` alone lists" in call("assign", "--undo", number, db=db).stderr
    refused(2, "not said where", "assign", "302a11-4", db=db)
    refused(2, "There is no step polish", "work", "done", str(findings[0]["id"]), "polish", db=db)


def test_a_swap_is_noted_asked_and_taken_back(db: Path) -> None:
    assert json_of("swap", "Van 1", "1", "2", db=db)["bumper"] == "rear"
    decision = json_of("swap", "Van 1", "1", "2", "--decide", db=db)
    assert decision["follows"] is None and "not read since" in decision["why"]
    json_of("swap", "Van 1", "1", "2", "--undo", db=db)
    refused(2, "No swap of these positions", "swap", "Van 1", "1", "2", "--decide", "--bumper", "rear", db=db)
    refused(2, "not clear which bumper", "swap", "Van 1", "3", "4", db=db)


def test_a_readings_picture_and_wav(depot: Path, tmp_path: Path) -> None:
    with Store(depot) as store, store.read() as connection:
        from curbtick.fleet import readings
        from curbtick.store import tables
        from sqlalchemy import func, select

        seq = connection.scalar(select(func.max(tables.snippets.c.reading_seq)))
        ref = readings.by_ref(connection, str(seq)).ref
    found = json_of("reading", ref, "--picture", tmp_path / "p.png", "--wav", tmp_path / "p.wav", db=depot)
    assert found["remeasured"]["level_db"] == pytest.approx(found["level_db"], abs=0.15)
    assert (tmp_path / "p.png").read_bytes().startswith(b"\x89PNG") and (tmp_path / "p.wav").exists()
    refused(2, "has no snippet", "reading", READING, "--wav", tmp_path / "q.wav", db=depot)
    refused(2, "no reading nothing", "reading", "nothing", db=depot)
    refused(2, "cannot be written", "reading", ref, "--picture", tmp_path / "p.nosuch", db=depot)


def test_a_fit_is_stored_only_when_asked(depot: Path, tmp_path: Path) -> None:
    made = json_of("limits", "fit", "--page", tmp_path / "fit.html", db=depot)
    assert made["saved_revision"] is None and {row["class_khz"] for row in made["classes"]} == {
        40,
        48,
        58,
        68,
    }
    page = (tmp_path / "fit.html").read_text(encoding="utf-8")
    assert "Limits fitted to the fleet" in page
    assert len(made["doubts"]) == 1 and "has drifted by -2.5 dB" in made["doubts"][0], made["doubts"]
    assert made["doubts"][0] in page
    refused(2, "makes no sense", "limits", "fit", "--risk", "0.9", db=depot)


@pytest.fixture
def worn(tmp_path: Path) -> Path:
    """Forty sensors of 48 kHz, of which twenty-four stand at WEAK by -24 dBFS."""
    with Store(tmp_path / "worn.db") as store:
        add_round(store, 1, [add_vehicle(store, f"Van {n}") for n in range(10)])
        places = [{"round_id": 1, "vehicle": 1 + n // 4, "position": 1 + n % 4} for n in range(40)]
        low = {"verdict": 2, "reasons": 1, "level_cdb": -2400}
        Logbook(store).visit(
            NOON_MS, *({**place, **(low if n < 24 else {})} for n, place in enumerate(places))
        )
    return tmp_path / "worn.db"


def test_a_doubtful_fit_is_shown_and_stored_only_by_name(worn: Path, tmp_path: Path) -> None:
    made = json_of("limits", "fit", "--save", "--page", tmp_path / "fit.html", db=worn)
    assert made["saved_revision"] is None and made["held_back_classes"] == [48]
    assert made["proposed_classes"] == [] and len(made["classes"][0]["held"]) == 3
    shown = Page((tmp_path / "fit.html").read_text(encoding="utf-8")).text
    words = call("limits", "fit", db=worn).stdout
    for text in (shown, words):
        assert "24 of 40 sensors do not stand at PASS" in text
        assert "24 of the sensors that stand at WEAK or DEAD for their level would PASS" in text
        assert "curbtick limits fit --save --accept 48" in text
    assert "Held back, not proposed." in shown and "held back" in words
    refused(2, "--accept says which", "limits", "fit", "--accept", "48", db=worn)
    refused(2, "Class 58 is not held back", "limits", "fit", "--save", "--accept", "58", db=worn)
    assert json_of("limits", "show", db=worn)["sets"][0]["revision"] == 1
    stored = json_of("limits", "fit", "--save", "--accept", "48", db=worn)
    assert (stored["accepted_classes"], stored["saved_revision"]) == ([48], 2)
    with Store(worn) as store, store.read() as connection:
        from curbtick.store import tables
        from sqlalchemy import select

        origin = connection.scalar(select(tables.limit_sets.c.origin))
    assert origin == "fitted, risk 0.01; held back, yet accepted: 48"


def test_limits_as_text_come_back(db: Path, tmp_path: Path) -> None:
    json_of("limits", "show", "--out", tmp_path / "set.toml", db=db)
    assert "pass_cdb = -1700" in (tmp_path / "set.toml").read_text(encoding="utf-8")


def test_a_study_is_planned_filled_and_evaluated(tmp_path: Path) -> None:
    plan, db = tmp_path / "study.csv", tmp_path / "s.db"
    people = ["--technician", "Ann", "--technician", "Bert"]
    parts = ["--part", "A=pass", "--part", "B=dead", "--part", "C=pass"]
    assert json_of("study", "plan", plan, *people, *parts, "--trials", "2")["runs"] == 12
    import csv

    rows = list(csv.DictReader(plan.open(encoding="utf-8")))
    with Store(db) as store:
        Logbook(store).visit(
            NOON_MS,
            *(
                {"level_cdb": -800 - n} if row["truth"] == "pass" else {"verdict": 3, "level_cdb": -4000 - n}
                for n, row in enumerate(rows)
            ),
        )
    assert json_of("study", "fill", plan, "302a11-2", db=db) == {"filled": 12, "empty": 0}
    found = json_of("study", "evaluate", plan)
    assert found["meets_marks"] and found["levels"]["parts"] == 3
    refused(2, "names no part and truth", "study", "plan", plan, *people, "--part", "A")
    refused(2, "cannot be read", "study", "evaluate", tmp_path / "none.csv")


@pytest.mark.parametrize("words", [("pull",), ("round", "send"), ("limits", "send"), ("probes", "pair")])
def test_no_probe_is_said(db: Path, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("curbtick.link.port.find_ports", list)
    if words == ("probes", "pair"):
        refused(3, "No probe is plugged in", *words)
    else:
        refused(3, "No probe is plugged in", *words, db=db)


def test_a_port_that_is_not_there_is_said(db: Path, tmp_path: Path) -> None:
    refused(3, "cannot be opened", "pull", "--port", tmp_path / "none", db=db)


def test_a_history_that_is_none_is_said(tmp_path: Path) -> None:
    (tmp_path / "x.db").write_text("not a database\n" * 200)
    refused(4, "is not a database", "vehicles", db=tmp_path / "x.db")


def test_an_error_nobody_foresaw_shows_no_traceback(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("oh")

    monkeypatch.setattr("curbtick.fleet.vehicles.load", broken)
    refused(errors.UNFORESEEN, "nobody foresaw: ZeroDivisionError: oh", "vehicles", db=db)


def test_ctrl_c_is_said_and_has_its_code(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("curbtick.fleet.vehicles.load", interrupted)
    refused(errors.INTERRUPTED, "Interrupted", "vehicles", db=db)


def run_process(*words: str | Path) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    command = [sys.executable, "-c", "from curbtick.commands.start import main; main()", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False, timeout=120)


def test_a_whole_process_prints_one_object_for_an_error_too(db: Path) -> None:
    found = run_process("reading", "nothing", "--json", "--db", db)
    assert found.returncode == 2 and "Traceback" not in found.stderr
    assert json.loads(found.stdout)["error"] == "There is no reading nothing."
    found = run_process("nonsense", "--json")
    assert found.returncode == 2 and json.loads(found.stdout)["exit_code"] == 2


def test_export_needs_a_known_format(db: Path, tmp_path: Path) -> None:
    refused(2, "no export format xlsx", "export", tmp_path / "out.xlsx", db=db)
    refused(2, "is not a date", "export", tmp_path / "out.csv", "--since", "yesterday", db=db)


def test_open_refuses_a_port_number_that_is_taken(db: Path) -> None:
    with Store(db) as store:
        taken = server.serve(store)
        refused(
            3, f"Port number {taken.number}", "open", "--number", str(taken.number), "--no-browser", db=db
        )
