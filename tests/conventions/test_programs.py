"""A test whose program is missing is skipped with the line that gets it, and fails where CI should have it."""

import os
import subprocess
import sys

import pytest

from tests.paths import ROOT
from tests.programs import CHROMIUM, NGSPICE, POSTGRESQL, PROGRAMS, Program

# A test that needs each program, of those that tests call.
NEEDING = {
    CHROMIUM: "tests/browser/test_pages.py",
    NGSPICE: "tests/unit/notes/test_frontend.py::test_bench_holds",
    POSTGRESQL: "tests/pair/postgres/test_sync.py",
}


def without_programs(test: str, **more: str) -> str:
    """What pytest says of a test on a machine without any of the programs."""
    environment = {name: value for name, value in os.environ.items() if name != "CI"}
    command = [sys.executable, "-m", "pytest", "-q", "-n", "0", "-x", "-rs", "-p", "no:cacheprovider", test]
    done = subprocess.run(
        command,
        cwd=ROOT,
        env={**environment, "CURBTICK_NO_PROGRAMS": "1", **more},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.stdout


@pytest.mark.parametrize("program", list(NEEDING), ids=lambda program: program.package)
def test_a_missing_program_skips_its_tests_and_says_how_to_get_it(program: Program) -> None:
    said = without_programs(NEEDING[program])
    assert "skipped" in said and "failed" not in said and "error" not in said.lower()
    assert f"apt-get install {program.package}" in said


@pytest.mark.parametrize("program", list(NEEDING), ids=lambda program: program.package)
def test_on_ci_a_missing_program_is_a_failure(program: Program) -> None:
    said = without_programs(NEEDING[program], CI="true")
    assert ".ci/run installs" in said and "passed" not in said


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda program: program.package)
def test_ci_installs_every_program(program: Program) -> None:
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    line = next(line for line in script.splitlines() if "apt-get install" in line)
    assert program.package in line.split()
    assert any(line.startswith(f"# {program.package} ") for line in script.splitlines())
