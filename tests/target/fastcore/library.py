"""The core in C, built with the machine's compiler when it is first asked for, and its state as Python sees it.

The library is kept in the temporary folder under a digest of its source, so that it is built once.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import re
import subprocess
import tempfile
from functools import cache
from pathlib import Path

from tests.programs import CC

SOURCE = Path(__file__).parent
FLAGS = ("-O2", "-std=c11", "-fwrapv", "-Wall", "-Werror", "-shared", "-fPIC")
TYPES: dict[str, type] = {
    "uint8_t *": ctypes.c_void_p,
    "uint16_t *": ctypes.c_void_p,
    "uint32_t *": ctypes.c_void_p,
    "uint32_t ": ctypes.c_uint32,
    "int64_t ": ctypes.c_int64,
    "double ": ctypes.c_double,
}
_FIELD = re.compile(r"^    (\w+ \*?)(\w+);$", re.MULTILINE)


class NoCompiler(Exception):
    """This machine cannot build the core."""


def _fields(header: str) -> list[tuple[str, type]]:
    """The struct's fields as core.h gives them."""
    body = header[header.index("typedef struct core {") : header.index("} core_t;")]
    return [(name, TYPES[kind]) for kind, name in _FIELD.findall(body)]


class State(ctypes.Structure):
    """core_t of core.h."""

    _fields_ = _fields((SOURCE / "core.h").read_text())


def find_compiler() -> str:
    """The machine's C compiler; raises NoCompiler."""
    found = CC.find()
    if found is None:
        raise NoCompiler(CC.how)
    return str(found)


def sources(folder: Path = SOURCE) -> list[Path]:
    """The C files, in a fixed order."""
    return sorted([*folder.glob("*.h"), *folder.glob("*.c")])


def compile_library(folder: Path, output: Path) -> None:
    """Build core.c of a folder; raises NoCompiler, or RuntimeError with the compiler's words."""
    command = [find_compiler(), *FLAGS, "-o", str(output), str(folder / "core.c")]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    if done.returncode:
        raise RuntimeError(f"the C core does not compile:\n{done.stderr}")


def open_library(path: Path) -> ctypes.CDLL:
    """The library's functions, with their types; its struct must be this module's."""
    library = ctypes.CDLL(str(path))
    library.run.argtypes = [ctypes.POINTER(State)]
    library.capture_until.argtypes = [ctypes.POINTER(State), ctypes.c_double]
    library.core_bytes.restype = ctypes.c_int64
    assert library.core_bytes() == ctypes.sizeof(State)
    return library


@cache
def library() -> ctypes.CDLL:
    """The core, built now or before; raises NoCompiler."""
    text = "\n".join([find_compiler(), *FLAGS, *(path.read_text() for path in sources())])
    digest = hashlib.sha256(text.encode()).hexdigest()[:16]
    folder = Path(tempfile.gettempdir()) / f"curbtick-fastcore-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    path = folder / f"{digest}.so"
    if not path.exists():
        fresh = folder / f"{digest}.{os.getpid()}"
        compile_library(SOURCE, fresh)
        # Tests run side by side: whoever is last puts the same file there once more.
        fresh.replace(path)
    return open_library(path)
