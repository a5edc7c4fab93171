"""Finding the MicroPython that runs the firmware, and the clear error where there is none."""

import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from curbtick import device
from curbtick.errors import MissingProgramError
from curbtick.virtual.probe.micropython import ENVIRONMENT_NAME, find_micropython


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """A computer without any MicroPython."""
    monkeypatch.delenv(ENVIRONMENT_NAME, raising=False)
    monkeypatch.setattr(shutil, "which", lambda name: None)
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    return monkeypatch


def program(folder: Path, mode: int = 0o755) -> Path:
    path = folder / "micropython"
    path.write_text("#!/bin/sh\n")
    path.chmod(mode)
    return path


def test_the_program_named_in_the_environment_comes_first(bare: pytest.MonkeyPatch, tmp_path: Path) -> None:
    path = program(tmp_path)
    bare.setenv(ENVIRONMENT_NAME, str(path))
    bare.setattr(shutil, "which", lambda name: "/elsewhere/micropython" if name == "micropython" else None)
    assert find_micropython() == [str(path)]


def test_then_the_path_then_the_wheel(bare: pytest.MonkeyPatch) -> None:
    bare.setattr(importlib.util, "find_spec", lambda name: object() if name == "micropython_unix" else None)
    python, option, program_text = find_micropython()
    assert (python, option) == (sys.executable, "-c") and "sys.exit(micropython_unix.main())" in program_text
    bare.setattr(shutil, "which", lambda name: f"/bin/{name}")
    assert find_micropython() == ["/bin/micropython"]


def test_the_wheel_s_interpreter_tells_how_it_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(ENVIRONMENT_NAME, raising=False)
    monkeypatch.setattr(shutil, "which", lambda name: None)
    for text, code in (("1", 0), ("1 // 0", 1)):
        command = [*find_micropython(), "-c", text]
        assert subprocess.run(command, stderr=subprocess.DEVNULL, check=False).returncode == code


def test_none_at_all_says_how_to_get_one(bare: pytest.MonkeyPatch) -> None:
    with pytest.raises(MissingProgramError) as caught:
        find_micropython()
    assert "pip install" in caught.value.next_step and ENVIRONMENT_NAME in caught.value.next_step
    assert caught.value.exit_code == 5


@pytest.mark.parametrize("mode", [0o644, None])
def test_a_name_that_is_no_program_is_said(
    bare: pytest.MonkeyPatch, tmp_path: Path, mode: int | None
) -> None:
    path = tmp_path / "micropython" if mode is None else program(tmp_path, mode)
    bare.setenv(ENVIRONMENT_NAME, str(path))
    with pytest.raises(MissingProgramError, match="is not a program"):
        find_micropython()


def test_sources_are_found_in_the_checkout_and_a_gap_is_said(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert (device.firmware_folder() / "curbtick_probe" / "panel" / "patterns.py").is_file()
    assert (device.protocol_folder() / "curbtick_wire").is_dir()
    monkeypatch.setattr(device, "_INSTALLED", tmp_path)
    monkeypatch.setattr(device, "_CHECKOUT", tmp_path)
    for find in (device.firmware_folder, device.protocol_folder, device.demo_data_folder):
        with pytest.raises(MissingProgramError, match="not in this installation"):
            find()
