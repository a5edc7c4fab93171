"""The command's first step. The libraries take a second to load, and Ctrl-C may come meanwhile."""

import sys
from importlib import import_module

from curbtick.commands import errors


def main() -> None:
    """Run the command line; Ctrl-C is told in three lines, however early it comes."""
    try:
        import_module("curbtick.commands.main").main()
    except KeyboardInterrupt:
        errors.fail(errors.interrupted(), errors.INTERRUPTED)
        sys.exit(errors.INTERRUPTED)
