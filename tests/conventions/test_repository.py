"""What holds for every file that is kept, and for the commands people are told to type."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

from tests.conventions.sources import python_files, shown, tree
from tests.paths import ROOT

# Folders of one machine. Written so that this file does not find itself.
MACHINE_FOLDERS = ("home", "root", "Users", "work", "workspace")
MACHINE_PATHS = re.compile("|".join(rf"(?<![\w.])/{name}/" for name in MACHINE_FOLDERS))
UNFINISHED = re.compile("|".join(("TO" + "DO", "FIX" + "ME", "XX" + "X")))
BINARY = {".png", ".wav", ".db", ".mpy", ".bin", ".npz", ".pdf"}


def kept_files() -> list[Path]:
    """Every file under version control; every file of the folders when there is no repository."""
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    names = done.stdout.split("\0") if done.returncode == 0 else []
    tracked = [ROOT / name for name in names if name]
    return [path for path in tracked or python_files(ROOT / "tests") if path.is_file()]


def kept_texts() -> list[tuple[str, str]]:
    """(path as shown, text) of every kept file that is text."""
    return [(shown(p), p.read_text(encoding="utf-8")) for p in kept_files() if p.suffix not in BINARY]


def test_no_file_names_a_folder_of_one_machine() -> None:
    assert not [name for name, text in kept_texts() if MACHINE_PATHS.search(text)]


def test_a_folder_of_one_machine_is_seen_and_a_room_is_not() -> None:
    assert MACHINE_PATHS.search("see " + "/ho" + "me/somebody/notes")
    assert not MACHINE_PATHS.search("host/curbtick/fleet/work/findings.py")


def test_nothing_is_left_for_later() -> None:
    assert not [name for name, text in kept_texts() if UNFINISHED.search(text)]


@pytest.mark.parametrize("path", python_files(ROOT / "tests"), ids=shown)
def test_no_test_is_skipped_without_saying_how_to_run_it(path: Path) -> None:
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Attribute | ast.Name):
            name = ast.unparse(node)
            assert name not in (
                "pytest.mark.skip",
                "pytest.mark.xfail",
                "pytest.xfail",
                "pytest.importorskip",
            )
            if name in ("pytest.skip", "pytest.mark.skipif"):
                assert "CURBTICK_" in path.read_text(encoding="utf-8"), f"line {node.lineno}"


def fenced_commands(path: Path) -> list[str]:
    """The lines of a Markdown file's code blocks."""
    blocks = re.findall(r"^```(?:sh|bash|console)?\n(.*?)^```", path.read_text(encoding="utf-8"), re.M | re.S)
    return [line.strip() for block in blocks for line in block.splitlines() if line.strip()]


def test_ci_runs_the_commands_of_the_readme() -> None:
    ci = [line.strip() for line in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines()]
    commands = [line for line in fenced_commands(ROOT / "README.md") if line.startswith("python3 -m venv")]
    assert len(commands) == 2, "README gives one command for the demo day and one for the tests"
    assert any("pytest" in line for line in commands) and any("curbtick demo" in line for line in commands)
    assert not [line for line in commands if line not in ci]
