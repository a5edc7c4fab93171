"""The README is short, and every command and file that it names is there."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
import typer
from curbtick.commands import catalogue
from curbtick.commands.main import app
from curbtick.fleet import lines as vehicle_list

from tests.paths import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(set(re.findall(r"`(curbtick [^`]*)`", README)))
LINES_MAX, LINE_MAX = 160, 400


def resolve(words: list[str]) -> tuple[Any, list[str]]:
    """The command that the words name, loaded, and the words behind its name."""
    listed = {row.name for row in catalogue.COMMANDS}
    command: Any = typer.main.get_command(app)
    if words[0] in listed:
        command, words = catalogue.load(words[0]), words[1:]
    while words and words[0] in getattr(command, "commands", {}) and command.name in listed:
        command, words = command.commands[words[0]], words[1:]
    return command, words


def test_it_is_short() -> None:
    lines = README.splitlines()
    assert len(lines) <= LINES_MAX
    assert max(map(len, lines)) <= LINE_MAX


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_exists_with_its_options_and_arguments(line: str) -> None:
    command, rest = resolve(shlex.split(line)[1:])
    options = {name for parameter in command.params for name in parameter.opts} | {"--help"}
    plain = [word for word in rest if not word.startswith("--")]
    needed = [p.name for p in command.params if p.param_type_name == "argument" and p.required]
    assert command.name or rest, "a command, or an option of the program itself"
    assert {word for word in rest if word.startswith("--")} <= options
    assert plain or not needed


def test_every_link_leads_somewhere() -> None:
    targets = [target for target in re.findall(r"\]\(([^)#]+)\)", README) if "://" not in target]
    assert targets and not [target for target in targets if not (ROOT / target).exists()]


def test_the_sample_of_a_round_is_a_round() -> None:
    lines = vehicle_list.read(ROOT / "demo_data/round.csv")
    assert [line.name for line in lines] == ["LH-01", "LH-02", "LH-03", "LH-11"]
    assert ", ".join(f"`{column}`" for column in vehicle_list.COLUMNS) in " ".join(README.split())


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "tests/bench/README.md"])
def test_every_bench_that_a_page_names_is_there(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for name in set(re.findall(r"python -m ([\w.]+)", text)) - {"tests.bench.NAME"}:
        path = ROOT.joinpath(*name.split("."))
        here = [path.with_suffix(".py"), path / "__main__.py"]
        host = [ROOT / "host" / Path(*name.split(".")).with_suffix(".py")]
        assert any(file.is_file() for file in (*here, *host)), name
