"""Names for annotations, at both ends: a probe has no typing module and evaluates no annotation."""

try:
    from curbtick_wire._shapes import (
        Any,
        Callable,
        Field,
        Fields,
        Ints,
        Iterator,
        Pairs,
        Protocol,
        Range,
        Record,
        Reply,
        Sequence,
        Values,
        Words,
    )
except ImportError:
    Any = Callable = Field = Fields = Ints = Iterator = Pairs = object  # type: ignore[assignment, misc]
    Protocol = Range = Record = Reply = Sequence = Values = Words = object  # type: ignore[assignment, misc]

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
