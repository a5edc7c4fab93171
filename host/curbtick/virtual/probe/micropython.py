"""Find the MicroPython that runs the firmware on this computer."""

import importlib.util
import os
import shutil
import sys
from pathlib import Path

from curbtick.errors import MissingProgramError
from curbtick.extras import how_to_install

ENVIRONMENT_NAME = "CURBTICK_MICROPYTHON"


def find_micropython() -> list[str]:
    """Return the command (a list of words) that starts a MicroPython unix port.

    Looked for in this order: the program named by CURBTICK_MICROPYTHON, `micropython` on the PATH, the wheel
    that the extra `demo` brings. Raises MissingProgramError when there is none.
    """
    named = os.environ.get(ENVIRONMENT_NAME)
    if named:
        return [_check_named(named)]
    found = shutil.which("micropython")
    if found:
        return [found]
    if importlib.util.find_spec("micropython_unix") is not None:
        # Not `-m micropython_unix`: that loses the exit code.
        return [sys.executable, "-c", "import sys, micropython_unix; sys.exit(micropython_unix.main())"]
    raise MissingProgramError(
        "There is no MicroPython on this computer to run the probe's firmware.",
        "No reading was made or changed; only the virtual probe (demo, virtual, replay) needs it.",
        f"Install it with {how_to_install('demo')}, or name a MicroPython unix port in {ENVIRONMENT_NAME}.",
    )


def _check_named(named: str) -> str:
    program = shutil.which(named) or named
    if Path(program).is_file() and os.access(program, os.X_OK):
        return program
    raise MissingProgramError(
        f"{ENVIRONMENT_NAME} names {named}, which is not a program that can be run.",
        "No reading was made or changed.",
        f"Set {ENVIRONMENT_NAME} to a MicroPython unix port, or unset it to use the installed one.",
    )
