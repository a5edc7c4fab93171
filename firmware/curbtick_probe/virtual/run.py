"""Run a MicroPython script as a virtual probe's program.

    micropython -m curbtick_probe.virtual.run SCRIPT NAME=VALUE...

The unix port writes an uncaught exception to standard output, which is the bus here; this sends it to standard
error.
"""

import sys


def run(path: str) -> None:
    """Run a script as the main program; an exception ends the process with exit code 1."""
    folder, _, name = path.rpartition("/")
    sys.path.insert(0, folder)
    try:
        __import__(name[: -len(".py")])
    except Exception as error:  # noqa: BLE001 - whatever ends the program is reported
        sys.print_exception(error, sys.stderr)
        sys.exit(1)


run(sys.argv[1])
