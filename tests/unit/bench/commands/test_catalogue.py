"""The list of commands is shown without loading any; what it says of each is what the command itself says."""

import os
import subprocess
import sys

import pytest
from curbtick.commands import catalogue
from curbtick.commands.catalogue import Row

from tests.unit.bench.commands.test_commands import call

# What takes longer to load than the list of commands, or a leak's formula, may.
HEAVY = {"numpy", "scipy", "matplotlib", "sqlalchemy", "jinja2", "serial"}


@pytest.mark.parametrize("row", catalogue.COMMANDS, ids=lambda row: row.name)
def test_the_list_says_what_the_command_says(row: Row) -> None:
    command = catalogue.load(row.name)
    assert command.name == row.name
    assert " ".join((command.help or "").split("\n\n")[0].split()) == row.words


def test_every_command_is_listed_once_and_no_other_one() -> None:
    names = [row.name for row in catalogue.COMMANDS]
    assert len(set(names)) == len(names)
    assert set(names) == {
        name for row in catalogue.COMMANDS for name in catalogue.of_module(row.module).commands
    }


def test_a_misspelt_command_is_guessed() -> None:
    assert "Did you mean 'replay'?" in call("repaly").stderr


@pytest.mark.parametrize(
    ("words", "heavy"),
    [
        (("--help",), HEAVY),
        (("leak", "1", "6"), HEAVY | {"rich"}),
        (("replay", "--help"), HEAVY - {"numpy", "serial"}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_nothing_loads_that_is_not_used(words: tuple[str, ...], heavy: set[str]) -> None:
    program = "import sys, atexit; atexit.register(lambda: print(*sys.modules, file=sys.stderr))\n"
    program += "from curbtick.commands.start import main; main()"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    found = subprocess.run(
        [sys.executable, "-c", program, *words], capture_output=True, text=True, env=environment, check=True
    )
    loaded = set(found.stderr.split())
    assert "curbtick.commands.main" in loaded
    assert not loaded & heavy
