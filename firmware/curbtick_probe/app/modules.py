"""The modules that one check alone needs: loaded when it begins, given back when another does."""

import sys

from curbtick_wire._typing import Words


def loaded() -> Words:
    """Return the names of the modules that are loaded now."""
    return tuple(sys.modules)


def give_back(kept: Words) -> None:
    """Forget all modules but those of `kept`, as loaded() returned them.

    A collection frees their room; an import loads them anew. Each is emptied first: the collector also follows what
    the stack still holds of calls that have returned, and one such word would keep a whole check.
    """
    for name in loaded():
        if name not in kept:
            sys.modules.pop(name).__dict__.clear()
            package, _, last = name.rpartition(".")
            if package in kept:
                delattr(sys.modules[package], last)
