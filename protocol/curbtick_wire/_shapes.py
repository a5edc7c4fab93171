"""The types of tables and values, for annotations. MicroPython cannot import this: import them from _typing."""

from array import array
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Protocol, TypeAlias

Field = tuple[str, str, int, int]
"""Name, `struct` format, lowest and highest value."""

Fields = tuple[Field, ...]

Values = dict[str, Any]
"""Values of a table's fields by name: int, bytes, or a tuple of int for a repeated format."""

Words = tuple[str, ...]

Record = tuple[int, Values, bytes]
"""What is to be logged: number of the kind, values, tail."""

Reply = tuple[Values, bytes]
"""What a request is answered with: values of the reply's fields, tail."""

Range = tuple[int, int]
"""The first and the last of a row of sequence numbers."""

Pairs = tuple[tuple[int, int], ...]

Ints: TypeAlias = "array[int]"

__all__ = [
    "Any",
    "Callable",
    "Field",
    "Fields",
    "Ints",
    "Iterator",
    "Pairs",
    "Protocol",
    "Range",
    "Record",
    "Reply",
    "Sequence",
    "Values",
    "Words",
]
