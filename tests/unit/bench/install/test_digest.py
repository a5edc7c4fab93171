"""`curbtick install --digest`: one digest for one source, whatever the order of Python's sets."""

import os
import subprocess
import sys

import pytest
from curbtick.install import image as firmware_image

from tests.unit.bench.commands.test_commands import call, json_of

PROGRAM = "from curbtick.commands.start import main; main()"


def digest_with(hash_seed: str) -> str:
    """What the command prints in a Python of its own, whose strings hash as the seed says."""
    path = os.pathsep.join(path for path in sys.path if path)
    environment = {**os.environ, "PYTHONPATH": path, "PYTHONHASHSEED": hash_seed}
    command = [sys.executable, "-c", PROGRAM, "install", "--digest"]
    run = subprocess.run(command, capture_output=True, text=True, env=environment, check=True)
    return run.stdout.strip()


@pytest.fixture(scope="module")
def image() -> firmware_image.Image:
    return firmware_image.build()


@pytest.mark.parametrize("hash_seed", ["0", "3"])
def test_the_digest_is_the_same_for_every_hash_seed(hash_seed: str, image: firmware_image.Image) -> None:
    assert digest_with(hash_seed) == image.digest


def test_the_command_prints_the_digest_without_a_board(image: firmware_image.Image) -> None:
    assert call("install", "--digest").stdout == f"{image.digest}\n"
    told = json_of("install", "--digest")
    assert told == {"version": image.digest, "bytes": image.size, "files": len(image.files)}


def test_another_byte_is_another_digest() -> None:
    one, other = (firmware_image.Image({"main.mpy": data}, 6, 3) for data in (b"a", b"b"))
    assert one.digest != other.digest and len(one.digest) == 16
