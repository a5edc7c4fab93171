"""Names for annotations, at both ends: a probe has no typing module and evaluates no annotation."""

try:
    from array import array  # noqa: F401 - Ints names it
    from collections.abc import Callable, Iterator, Sequence
    from typing import Any, Protocol, TypeAlias

    # Name, `struct` format, lowest and highest value.
    Field = tuple[str, str, int, int]
    Fields = tuple[Field, ...]

    # Values of a table's fields by name: int, bytes, or a tuple of int for a repeated format.
    Values = dict[str, Any]

    # A record kind or a message: number, name, fields, and what its tail is (None where it has none).
    Kind = tuple[int, str, Fields, str | None]
    # The same of a request, and the rule that says who may send it.
    Request = tuple[int, str, Fields, str | None, int]

    # What is to be logged: number of the kind, values, tail.
    Record = tuple[int, Values, bytes]
    # What a request is answered with: values of the reply's fields, tail.
    Reply = tuple[Values, bytes]

    # The first and the last of a row of sequence numbers.
    Range = tuple[int, int]
    # A place to return to: index of the vehicle, bumper, position, lap.
    Mark = tuple[int, int, int, int]

    Words = tuple[str, ...]
    Pairs = tuple[tuple[int, int], ...]
    Ints: TypeAlias = "array[int]"
except ImportError:

    def __getattr__(name: str) -> object:
        """Any name is a class to derive from, and nothing else."""
        return object


__all__ = ["Any", "Callable", "Iterator", "Protocol", "Sequence"]
