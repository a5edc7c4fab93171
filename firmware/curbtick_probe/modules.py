"""The modules that one check alone needs: loaded when it begins, given back when another does."""

import sys


def loaded():
    """Return the names of the modules that are loaded now."""
    return tuple(sys.modules)


def give_back(kept):
    """Forget all modules but those of `kept`, as loaded() returned them.

    A collection frees their room once nothing else refers to them; an import loads them anew.
    """
    for name in loaded():
        if name not in kept:
            del sys.modules[name]
            package, _, last = name.rpartition(".")
            if package in kept:
                delattr(sys.modules[package], last)
