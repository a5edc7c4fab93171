"""Columns of the decoded records, derived from the record table of `curbtick_wire.records`, names and units too."""

from typing import Any

from curbtick_wire import records
from sqlalchemy import (
    BigInteger,
    Column,
    Index,
    Integer,
    MetaData,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
)

Big = BigInteger().with_variant(Integer, "sqlite")
cache = MetaData()
"""What follows from the history and can be made anew."""
_SQL_TYPES: dict[str, Any] = {
    "b": SmallInteger,
    "B": SmallInteger,
    "h": SmallInteger,
    "H": Integer,
    "i": Integer,
    "I": Big,
}

# What stands for "not measured" on the wire, by format; in the history it is null.
_MARKERS = {"h": records.NONE_I16, "i": records.NONE_I32}
# Fields where 0 is the probe's way of saying that there was nothing to measure.
_ZERO_IS_NONE = frozenset(("frequency_hz", "interval_us", "burst_us", "ringdown_us", "measured_hz"))


def _marker_of(name: str, letter: str) -> int | None:
    return 0 if name in _ZERO_IS_NONE else _MARKERS.get(letter)


def record_columns(kind: int) -> list[Column[int]]:
    """Columns of a record kind's fields; a repeated field becomes one numbered column for each value."""
    fields = next(entry[2] for entry in records.KINDS if entry[0] == kind)
    columns: list[Column[int]] = []
    for name, form, _, _ in fields:
        count = int(form[:-1] or 1)
        column_names = [name] if count == 1 else [f"{name}_{place}" for place in range(1, count + 1)]
        info = {"marker": _marker_of(name, form[-1])}
        columns += [Column(column, _SQL_TYPES[form[-1]], info=info) for column in column_names]
    return columns


def decoded(metadata: MetaData, name: str, kind: int, *extra: Column[int] | Index) -> Table:
    """A decoded table: key, origin, time, the kind's fields, then `extra`."""
    return Table(
        name,
        metadata,
        Column("id", Big, primary_key=True, autoincrement=False),
        big("probe_id"),
        big("seq"),
        big("boot"),
        big("ticks_ms"),
        Column("time_ms", Big),
        big("sort_ms"),
        *record_columns(kind),
        *extra,
        UniqueConstraint("probe_id", "seq", "boot"),
        Index(f"{name}_by_time", "sort_ms"),
    )


def key() -> Column[int]:
    """A column for a key that is computed, never counted."""
    return Column("id", Big, primary_key=True, autoincrement=False)


def of(name: str, nullable: bool = False) -> Column[int]:
    """A column for the key of something else."""
    return Column(name, Big, nullable=nullable)


def big(name: str) -> Column[int]:
    """A column of whole numbers that every row has."""
    return Column(name, Big, nullable=False)


def small(name: str) -> Column[int]:
    """As `big`, for numbers of 16 bits."""
    return Column(name, SmallInteger, nullable=False)


def words(name: str) -> Column[str]:
    """A column of text that every row has."""
    return Column(name, Text, nullable=False)
