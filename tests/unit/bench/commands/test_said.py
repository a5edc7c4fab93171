"""What a command says when nothing is right: misspelt options, nowhere to write its words, Ctrl-C at any time."""

import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import IO

import pytest
from curbtick.commands import errors, main, start
from curbtick.store.history import Store

from tests.paths import ROOT
from tests.unit.bench.benchdata import NOON_MS, Logbook, add_round, add_vehicle
from tests.unit.bench.commands.test_commands import call, refused

PROGRAM = [sys.executable, "-c", "from curbtick.commands.start import main; main()"]
# A disk without room, as Linux plays it; a pipe that nobody reads is everywhere.
FULL = [path for path in (Path("/dev/full"),) if path.exists()]


@pytest.fixture
def db(tmp_path: Path) -> Path:
    with Store(tmp_path / "history.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        Logbook(store).visit(NOON_MS, {"round_id": 1}, {"position": 0})
    return tmp_path / "history.db"


def run(*words: str | Path, stdout: IO[str] | int = subprocess.PIPE) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    return subprocess.run(
        [*PROGRAM, *map(str, words)],
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize(
    ("words", "what", "help_of"),
    [
        (("nonsense",), "No such command 'nonsense'.", "curbtick"),
        (("--nonsense",), "No such option: --nonsense", "curbtick"),
        (("round", "nonsense"), "No such command 'nonsense'.", "curbtick round"),
        (("work", "--nonsense"), "No such option: --nonsense", "curbtick work"),
        (("work", "done"), "Missing argument", "curbtick work done"),
        (("open", "--number", "99999", "--no-browser"), "Invalid value for '--number'", "curbtick open"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_what_makes_no_sense_is_said_in_three_lines(words: tuple[str, ...], what: str, help_of: str) -> None:
    refused(2, what, *words)
    assert f"`{help_of} --help` shows" in call(*words).stderr


@pytest.mark.parametrize("words", [(), ("round",)], ids=["curbtick", "round"])
def test_a_group_alone_still_shows_its_help(words: tuple[str, ...]) -> None:
    assert "Commands" in call(*words).output


def test_the_help_says_which_history_and_every_exit_code() -> None:
    assert "curbtick.db when left out" in " ".join(call("work", "--help").output.replace("│", "").split())
    said = " ".join(call("--help").output.split())
    assert f"{errors.UNFORESEEN} an error nobody foresaw" in said
    assert f"{errors.INTERRUPTED} interrupted" in said


def test_the_readme_has_the_same_exit_codes_and_asks_for_no_argument_that_is_none() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    table = [line.split("|")[1].strip() for line in readme.splitlines() if line.startswith("| ")]
    said = " ".join(call("--help").output.split()).partition("Exit codes: ")[2]
    assert [code for code in table if code.isdigit()] == re.findall(r"(\d+) ", said)
    for words in re.findall(r"`curbtick (round \w+) FILE", readme):
        assert "FILE.csv" in call(*words.split(), "--help").output, words


def is_assigned(db: Path) -> bool:
    listed = call("assign", db=db).output
    return "no vehicle" in listed and "302a11-3" not in listed


ASSIGN = ("assign", "302a11-3", "--vehicle", "Van 1", "--position", "3")
OPTIONS = pytest.mark.parametrize("options", [(), ("--json",)], ids=["words", "json"])


@OPTIONS
@pytest.mark.parametrize("full", FULL, ids=str)
def test_words_that_cannot_be_written_undo_nothing(db: Path, full: Path, options: tuple[str, ...]) -> None:
    """The change is made within the transaction that the words are said in."""
    with full.open("w") as stdout:
        found = run(*ASSIGN, "--db", db, *options, stdout=stdout)
    assert found.returncode == 1
    lines = found.stderr.splitlines()
    assert lines[-3].startswith("What the command says cannot be written: No space left")
    assert "did its work" in lines[-2] and "foresaw" not in found.stderr and "Exception" not in found.stderr
    assert is_assigned(db)


@OPTIONS
def test_a_reader_who_has_gone_undoes_nothing_and_hears_no_complaint(
    db: Path, options: tuple[str, ...]
) -> None:
    """As `curbtick assign ... | head -1` leaves it."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    found = run(*ASSIGN, "--db", db, *options, stdout=write_end)
    os.close(write_end)
    assert found.returncode == 0 and "rror" not in found.stderr and "pipe" not in found.stderr
    assert is_assigned(db)


@pytest.mark.parametrize("words", [("pull",), ("work",)])
def test_an_interrupted_command_says_what_repeating_it_does(
    words: tuple[str, ...], db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("curbtick.commands.probe.probes.connect", interrupted)
    monkeypatch.setattr("curbtick.fleet.work.findings.load", interrupted)
    refused(errors.INTERRUPTED, "Interrupted", *words, db=db)
    assert ("goes on where it stopped" in call(*words, db=db).stderr) == (words == ("pull",))


def test_every_command_that_says_more_after_ctrl_c_is_one() -> None:
    listed = call("--help").output
    assert all(f" {name} " in listed for name in main.AGAIN)


def test_ctrl_c_while_the_libraries_load_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(_name: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(start, "import_module", interrupted)
    with pytest.raises(SystemExit) as ended:
        start.main()
    assert ended.value.code == errors.INTERRUPTED
    assert capsys.readouterr().err.splitlines()[0] == "Interrupted."


def test_ctrl_c_at_start_up_leaves_no_traceback() -> None:
    """The process interrupts itself as soon as the first of the libraries is loaded."""
    program = (
        "import builtins, os, signal\n"
        "from curbtick.commands.start import main\n"
        "load = builtins.__import__\n"
        "def loading(name, *more):\n"
        "    name.startswith('sqlalchemy') and os.kill(os.getpid(), signal.SIGINT)\n"
        "    return load(name, *more)\n"
        "builtins.__import__ = loading\n"
        "main()\n"
    )
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    command = [sys.executable, "-c", program, "work", "--json"]
    found = subprocess.run(
        command,
        capture_output=True,
        text=True,
        env=environment,
        check=False,
        timeout=60,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    assert found.returncode == errors.INTERRUPTED, found.stderr
    assert len(found.stderr.splitlines()) == 3 and "Traceback" not in found.stderr
    assert json.loads(found.stdout)["exit_code"] == errors.INTERRUPTED


def test_the_installed_command_is_the_one_that_hears_ctrl_c_early() -> None:
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert 'curbtick = "curbtick.commands.start:main"' in project
