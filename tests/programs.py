"""The programs from outside that some tests call: where each is found, and how to get it.

Where one is missing, what needs it is skipped with the line that gets it. With CI set that is a failure instead:
.ci/run installs them all. CURBTICK_NO_PROGRAMS=1 hides every one of them, to see what a bare machine does; the name
of a package in its place hides that one.
"""

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Program:
    """A program, or a few that come together.

    names: what is looked for on the PATH, the first that is there counts; package: Debian's package;
    variable: the environment variable that names the program, or its folder, on any other system.
    """

    names: tuple[str, ...]
    package: str
    variable: str

    @property
    def how(self) -> str:
        """What to do where it is missing."""
        debian = f"`apt-get install {self.package}` (Debian)"
        return f"{self.names[0]} is not installed: {debian}, or name it in {self.variable}"

    def find(self) -> Path | None:
        """The program, or the folder with several; None where there is none."""
        if os.environ.get("CURBTICK_NO_PROGRAMS") in ("1", self.package):
            return None
        return FINDERS.get(self.package, _on_path)(self)


def _on_path(program: Program) -> Path | None:
    named = os.environ.get(program.variable)
    found = (shutil.which(name) for name in ((named,) if named else program.names))
    return next((Path(path) for path in found if path), None)


def _postgresql(program: Program) -> Path | None:
    """The folder with the server's programs, which Debian keeps off the PATH."""
    named = os.environ.get(program.variable)
    debian = sorted(
        Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name), reverse=True
    )
    on_path = [Path(path).parent for name in program.names if (path := shutil.which(name))]
    folders = [Path(named)] if named else [*debian, *on_path]
    return next(
        (folder for folder in folders if all((folder / name).exists() for name in program.names)), None
    )


FINDERS: dict[str, Callable[[Program], Path | None]] = {"postgresql": _postgresql}

CHROMIUM = Program(("chromium", "chromium-browser"), "chromium", "CURBTICK_CHROMIUM")
NGSPICE = Program(("ngspice",), "ngspice", "CURBTICK_NGSPICE")
POSTGRESQL = Program(("initdb", "postgres"), "postgresql", "CURBTICK_POSTGRES_BIN")
OPENSSL = Program(("openssl",), "openssl", "CURBTICK_OPENSSL")
CC = Program(("cc",), "gcc", "CURBTICK_CC")
LRZSZ = Program(("sz", "rz"), "lrzsz", "CURBTICK_SZ")
PROGRAMS = (CHROMIUM, NGSPICE, POSTGRESQL, OPENSSL, LRZSZ, CC)


def needed(program: Program) -> Path:
    """The program for a test that needs it: skips the test where it is missing, or fails it on CI."""
    import pytest  # The notes find ngspice here, where no tests are installed.

    found = program.find()
    if found is not None:
        return found
    if os.environ.get("CI"):
        raise pytest.fail.Exception(f"{program.how}. CI must have it: .ci/run installs {program.package}.")
    raise pytest.skip.Exception(f"{program.how} ({program.variable})")
