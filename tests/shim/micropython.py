"""MicroPython's `micropython` module for CPython: enough for firmware modules to import and run in a test.

A viper function runs with the chip's own arithmetic, from its source: see tests/target/shim.py.
"""

import builtins
import functools
from collections.abc import Callable
from typing import Any, TypeVar

_Function = TypeVar("_Function", bound=Callable[..., Any])


def const(value: int) -> int:
    """A constant, which MicroPython folds at compile time."""
    return value


def viper(function: _Function) -> Callable[..., int]:
    """Machine code with 32-bit words on the chip; the same arithmetic here, more slowly."""

    @functools.wraps(function)
    def call(*args: Any) -> int:
        return run_kernel(function.__code__.co_filename, function.__name__, args)

    return call


def _run_on_cpython(source: str, function: str, args: tuple[Any, ...]) -> int:
    from tests.target import shim

    return shim.run(source, function, shim.Mode.CHIP, args)


# What runs a viper function, given its file, its name and its arguments; a benchmark puts the emulated chip here.
run_kernel: Callable[[str, str, tuple[Any, ...]], int] = _run_on_cpython


def native(function: _Function) -> _Function:
    """Machine code on the chip; the function itself here."""
    return function


_heap_locks = [0]


def heap_lock() -> None:
    """Makes any allocation an error on the chip; here it is only counted."""
    _heap_locks[0] += 1


def heap_unlock() -> int:
    """Ends one heap_lock; returns how many are left."""
    _heap_locks[0] -= 1
    return _heap_locks[0]


# Viper annotations, which CPython evaluates where MicroPython does not.
for _name in ("ptr8", "ptr16", "ptr32", "uint"):
    setattr(builtins, _name, int)
