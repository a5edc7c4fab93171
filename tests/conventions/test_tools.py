"""Linter and type checker, as tests; and that the whole firmware compiles for the chip."""

import subprocess
import sys
from pathlib import Path

import pytest
from mypy import api

from tests.conventions import types_of_firmware
from tests.conventions.sources import python_files, shown
from tests.paths import FIRMWARE, ROOT, WIRE
from tests.target.mpy import compile_module, read_module


def test_ruff_finds_nothing() -> None:
    command = [sys.executable, "-m", "ruff", "check", "--output-format", "concise", "."]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_mypy_finds_nothing_in_host_and_protocol() -> None:
    configuration = [
        "--config-file",
        str(ROOT / "pyproject.toml"),
        "--cache-dir",
        str(ROOT / ".mypy_cache/host"),
    ]
    folders = [
        str(ROOT / "host/curbtick"),
        str(WIRE),
        str(ROOT / "tests/target"),
        str(ROOT / "tests/conventions"),
    ]
    report, problems, code = api.run([*configuration, *folders])
    assert code == 0, report + problems


def test_mypy_finds_nothing_in_firmware_against_micropythons_modules() -> None:
    assert not types_of_firmware.check()


@pytest.mark.parametrize("path", python_files(FIRMWARE, WIRE), ids=shown)
def test_every_module_of_the_probe_compiles_for_the_chip(path: Path) -> None:
    assert read_module(compile_module(path)).body.code
