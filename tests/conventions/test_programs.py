"""A test whose program is missing is skipped with the line that gets it, and fails where CI should have it."""

import os
import subprocess
import sys

import pytest

from tests.paths import ROOT
from tests.programs import CC, CHROMIUM, LRZSZ, NGSPICE, OPENSSL, POSTGRESQL, PROGRAMS, Program

# A test that needs each program.
NEEDING = {
    CC: "tests/target/fastcore/test_planted.py",
    CHROMIUM: "tests/browser/test_pages.py",
    NGSPICE: "tests/unit/notes/test_frontend.py::test_bench_holds",
    OPENSSL: "tests/pair/postgres/test_server.py::test_tls_is_asked_for_by_the_url",
    POSTGRESQL: "tests/pair/postgres/test_sync.py",
}
# A benchmark that needs each program that no test calls, and one that needs a program beside its tests.
BENCHES = {LRZSZ: "goodput", NGSPICE: "frontend"}


def without(program: Program, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a module of Python's on a machine without a program."""
    environment = {name: value for name, value in os.environ.items() if name != "CI"}
    return subprocess.run(
        [sys.executable, "-m", *words],
        cwd=ROOT,
        env={**environment, "CURBTICK_NO_PROGRAMS": program.package, **more},
        capture_output=True,
        text=True,
        check=False,
    )


def said_without(program: Program, **more: str) -> str:
    """What pytest says of the test that needs a program on a machine without it."""
    options = ("-q", "-n", "0", "-x", "-rs", "-p", "no:cacheprovider")
    return without(program, "pytest", *options, NEEDING[program], **more).stdout


def test_every_program_has_a_test_or_a_benchmark_that_needs_it() -> None:
    assert NEEDING.keys() | BENCHES.keys() == set(PROGRAMS)


@pytest.mark.parametrize("program", list(BENCHES), ids=lambda program: program.package)
def test_a_benchmark_without_its_program_says_how_to_get_it(program: Program) -> None:
    done = without(program, f"tests.bench.{BENCHES[program]}", "--json", "--short", "--seed", "1")
    assert done.returncode != 0 and f"apt-get install {program.package}" in done.stdout + done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("program", list(NEEDING), ids=lambda program: program.package)
def test_a_missing_program_skips_its_tests_and_says_how_to_get_it(program: Program) -> None:
    said = said_without(program)
    assert "skipped" in said and "failed" not in said and "error" not in said.lower()
    assert f"apt-get install {program.package}" in said


@pytest.mark.parametrize("program", list(NEEDING), ids=lambda program: program.package)
def test_on_ci_a_missing_program_is_a_failure(program: Program) -> None:
    said = said_without(program, CI="true")
    assert ".ci/run installs" in said and "passed" not in said


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda program: program.package)
def test_ci_installs_every_program(program: Program) -> None:
    script = (ROOT / ".ci/run").read_text(encoding="utf-8")
    line = next(line for line in script.splitlines() if "apt-get install" in line)
    assert program.package in line.split()
    assert any(line.startswith(f"# {program.package} ") for line in script.splitlines())
