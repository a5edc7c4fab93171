"""MicroPython's `micropython` module for CPython: enough for firmware modules to import and run in a test.

A viper function runs on plain arrays, without the chip's word size: quick, for tests of logic. Whether a
kernel keeps within 32 bits is shown by tests/target/shim.py, which runs the same source with the chip's exact
arithmetic.
"""

import builtins
from collections.abc import Callable
from typing import Any, TypeVar

_Function = TypeVar("_Function", bound=Callable[..., Any])


def const(value: int) -> int:
    """A constant, which MicroPython folds at compile time."""
    return value


def viper(function: _Function) -> _Function:
    """Machine code with word-sized integers on the chip; the function itself here."""
    return function


def native(function: _Function) -> _Function:
    """Machine code on the chip; the function itself here."""
    return function


def heap_lock() -> int:
    """Makes any allocation an error on the chip. CPython has no such thing, so this does nothing."""
    return 0


def heap_unlock() -> int:
    """Ends heap_lock."""
    return 0


def _same(buffer: Any) -> Any:
    return buffer


for _name in ("ptr8", "ptr16", "ptr32"):
    setattr(builtins, _name, _same)
builtins.uint = int  # type: ignore[attr-defined]
