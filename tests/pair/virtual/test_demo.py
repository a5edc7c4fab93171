"""`curbtick demo` as a user runs it: real firmware, real bench, the truth of the yard beside what came of it."""

import json
import os
import re
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from curbtick.commands.virtual.demo import MADE
from curbtick.errors import InputError
from curbtick.yard.scenes import day as yard
from curbtick.yard.scenes import leaks
from curbtick.yard.scenes.vehicles import FAULTS
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.names import REASONS, VERDICTS

from tests.browser import report_picture

# The command runs what these tests import, installed or not.
ENVIRONMENT = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}


def curbtick(*words: str) -> subprocess.CompletedProcess[str]:
    program = [sys.executable, "-c", "from curbtick.commands.main import main; main()"]
    return subprocess.run(
        [*program, *words], capture_output=True, text=True, check=False, timeout=170, env=ENVIRONMENT
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def done(folder: Path) -> subprocess.CompletedProcess[str]:
    """The demo of seed 1; `python -m tests.bench.startup` times it."""
    return curbtick("demo", "--out", str(folder / "d"), "--seed", "1")


@pytest.fixture(scope="module")
def summary(folder: Path, done: subprocess.CompletedProcess[str]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "d" / "summary.json").read_text())
    return found


def test_the_day_comes_out_as_it_must(done: subprocess.CompletedProcess[str]) -> None:
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr
    assert done.stderr == ""


def test_every_reading_and_result_agrees_with_the_truth(summary: dict[str, Any]) -> None:
    for row in summary["readings"]:
        assert row["verdict"] == row["truth"] == row["shown"], row
        assert set(row["reasons"]) <= set(REASONS)
    for row in summary["bumpers"]:
        assert (row["result"], row["verdicts"]) == (row["truth"], row["truth_verdicts"]), row
    assert summary["differences"] == []


def test_the_day_is_one_worth_living_through(summary: dict[str, Any]) -> None:
    """At least 8 vehicles, vans, a minibus and a refuse truck, every class, every fault, one that is silent."""
    day = yard.load(1)
    assert len(day.vehicles) >= 8
    assert {"van", "minibus", "refuse truck"} <= {plan.type for plan in day.vehicles}
    bumpers = [(name, plan) for vehicle in day.vehicles for name, plan in vehicle.bumpers.items()]
    assert {plan.class_khz for _, plan in bumpers} == set(CLASSES_KHZ)
    assert {4, 6} <= {plan.positions for _, plan in bumpers} and {name for name, _ in bumpers} == {
        "rear",
        "front",
    }
    assert set(FAULTS) <= {row["fault"] for row in summary["readings"]}
    assert {row["verdict"] for row in summary["readings"]} == set(VERDICTS)
    assert [row["result"] for row in summary["bumpers"]].count("not_transmitting") == 1


def test_every_scene_of_the_seal_and_hiss_checks_comes_out_right(summary: dict[str, Any]) -> None:
    assert {row["scene"] for row in summary["checks"]} == set(leaks.SCENES)
    for row in summary["checks"]:
        assert row["verdict"] == row["truth"] == row["shown"], row
    assert {row["verdict"] for row in summary["checks"]} == {
        "leak",
        "tight",
        "hiss",
        "quiet",
        "tone",
        "retry",
    }


def test_the_bench_pulls_on_the_day_that_it_lives_through(folder: Path, summary: dict[str, Any]) -> None:
    """The demo's day has a clock of its own, hours away from the computer's."""
    assert summary["agrees"]
    with closing(sqlite3.connect(folder / "d" / "curbtick.db")) as history:
        (pulled_ms,) = history.execute("SELECT max(at_ms) FROM pulls").fetchone()
        (read_ms,) = history.execute("SELECT max(time_ms) FROM readings").fetchone()
    assert 0 <= pulled_ms - read_ms < 600_000


def at(row: dict[str, Any]) -> tuple[str, str, int]:
    """Where a reading was taken."""
    return row["vehicle"], row["bumper"], row["position"]


def test_every_place_was_read_once_a_silent_one_twice_and_the_repaired_one_again(
    summary: dict[str, Any],
) -> None:
    day = yard.load(1)
    places = Counter((day.vehicle(p.vehicle).name, p.bumper, p.position) for p in day.places())
    places.update((day.vehicle(p.vehicle).name, p.bumper, p.position) for p in day.repairs)
    silent = {at(row) for row in summary["readings"] if row["verdict"] == "retry"}
    assert len(silent) == 4
    places.update(silent)
    assert Counter(map(at, summary["readings"])) == places
    again = [row for row in summary["readings"] if row["repaired"]]
    assert [row["verdict"] for row in again] == ["pass"]


def test_readings_carry_what_was_measured_and_null_for_the_rest(summary: dict[str, Any]) -> None:
    for row in summary["readings"]:
        measured = [row[name] is not None for name in ("level_db", "frequency_hz", "interval_ms")]
        assert all(measured) if row["verdict"] in ("pass", "weak") else row["noise_db"] is not None
        assert row["time_to_verdict_ms"] <= (
            1500 if (row["interval_ms"] or 0) <= 250 and all(measured) else 3000
        ), row


def test_times_are_a_past_day_s_in_order(summary: dict[str, Any]) -> None:
    times = [row["time_ms"] for row in summary["readings"]]
    assert times == sorted(times) and times[-1] / 1000 < time.time()
    assert all(row["time_uncertainty_ms"] < 1000 for row in summary["readings"])


def test_the_history_and_the_report_are_there(folder: Path, summary: dict[str, Any]) -> None:
    with closing(sqlite3.connect(folder / "d" / "curbtick.db")) as history:
        assert history.execute("select count(*) from readings").fetchone() == (len(summary["readings"]),)
    page = (folder / "d" / "report" / "day.html").read_text()
    for plan in yard.load(1).vehicles:
        assert plan.name in page
    assert "ISO 17386" in page


def test_a_demo_knows_everything_that_it_makes(folder: Path, summary: dict[str, Any]) -> None:
    """The next one in this folder takes away all of it, and nothing else."""
    made = {path for path in (folder / "d").rglob("*") if path.is_file()}
    assert made == {path for pattern in MADE for path in (folder / "d").glob(pattern)}


def test_the_repair_is_proved_on_the_work_list(folder: Path, summary: dict[str, Any]) -> None:
    with closing(sqlite3.connect(folder / "d" / "curbtick.db")) as history:
        states = Counter(row[0] for row in history.execute("select state from findings"))
    assert states["proved"] == 1 and states["open"] >= 8


def test_the_bar_is_drawn_as_the_technician_goes(
    done: subprocess.CompletedProcess[str],
) -> None:
    shown = done.stdout
    assert shown.count("PASS") >= 30 and "WEAK" in shown and "DEAD" in shown and "RETRY" in shown
    assert "●····· ······" in shown and "████  " not in shown.splitlines()[0]


def test_another_seed_comes_out_right_too_and_differs(folder: Path, summary: dict[str, Any]) -> None:
    finished = curbtick("demo", "--out", str(folder / "other"), "--seed", "20261124", "--json")
    assert finished.returncode == 0, finished.stderr[-2000:]
    other = json.loads(finished.stdout)
    assert other["agrees"] and other["readings"][0]["level_db"] != summary["readings"][0]["level_db"]


def test_a_difference_from_the_truth_is_exit_code_1(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The day's first two vehicles, against a truth that is wrong at one place."""
    import typer
    from curbtick.commands.virtual.demo import demo

    honest = yard.Day.expected

    def wrong(day: yard.Day, place: yard.Place, repaired: bool = False) -> yard.Expected:
        if place == yard.Place(1, "rear", 1):
            return yard.Expected("weak", "low_level", "none")
        return honest(day, place, repaired)

    whole = yard.load(1)
    monkeypatch.setattr(
        yard, "load", lambda seed: yard.Day(whole.vehicles[:2], whole.repairs, whole.air, seed)
    )
    monkeypatch.setattr(leaks, "SEAL_SCENES", {})
    monkeypatch.setattr(leaks, "HISS_SCENES", {})
    monkeypatch.setattr(yard.Day, "expected", wrong)
    with pytest.raises(typer.Exit) as caught:
        demo(out=tmp_path / "d", seed=1, as_json=False)
    assert caught.value.exit_code == 1
    found = json.loads((tmp_path / "d" / "summary.json").read_text())
    assert not found["agrees"] and found["differences"][0].startswith("LH-01 rear 1: pass instead of weak")


def test_a_history_that_is_no_demo_s_is_left_alone(tmp_path: Path) -> None:
    from curbtick.commands.virtual.demo import demo

    (tmp_path / "curbtick.db").write_bytes(b"precious")
    with pytest.raises(InputError, match="not made by the demo"):
        demo(out=tmp_path, seed=1, as_json=False)
    assert (tmp_path / "curbtick.db").read_bytes() == b"precious"


def test_the_readmes_picture_shows_this_report(folder: Path, summary: dict[str, Any]) -> None:
    page = (folder / "d" / "report" / "index.html").read_text(encoding="utf-8")
    stored = report_picture.DIGEST.read_text(encoding="ascii").strip()
    assert report_picture.digest(page) == stored, "run: python -m tests.browser.report_picture"


def test_the_day_s_tiles_add_up(folder: Path) -> None:
    page = (folder / "d" / "report" / "day.html").read_text(encoding="utf-8")
    tiles = page[page.index('<ul class="tiles">') :].partition("</ul>")[0]
    _vehicles, total, *verdicts, _silent = map(int, re.findall(r"<b>(\d+)</b>", tiles))
    (again,) = map(int, re.findall(r"readings, (\d+) taken again", tiles))
    assert len(verdicts) == 4 and total == sum(verdicts) + again
