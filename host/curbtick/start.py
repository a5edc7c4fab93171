"""The command's first step. The libraries take a second to load, and Ctrl-C may come meanwhile."""

import sys
from importlib import import_module

from curbtick import spoken


def main() -> None:
    """Run the command line; Ctrl-C is told in three lines, however early it comes."""
    try:
        import_module("curbtick.cli").main()
    except KeyboardInterrupt:
        spoken.fail(spoken.interrupted(), spoken.INTERRUPTED)
        sys.exit(spoken.INTERRUPTED)
