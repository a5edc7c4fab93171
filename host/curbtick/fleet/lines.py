"""A list of vehicles as people keep it in a spreadsheet: a line for each, with what its bumpers carry."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from curbtick import spreadsheet
from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.vehicles import Bumper
from curbtick.naming import checked_name, checked_optional
from curbtick.numbers import whole

COLUMNS = (
    "vehicle",
    "type",
    "depot",
    "rear_positions",
    "rear_class_khz",
    "front_positions",
    "front_class_khz",
)
NEEDED = ("vehicle", "rear_positions", "rear_class_khz")
# A whole number as it may stand in a cell: with decimals that are zero, after a point or a comma, and with its unit.
NUMBER = re.compile(r"(\d+)(?:[.,]0*)?\s*(?:khz)?", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True)
class Line:
    """One line: a vehicle's name and what its bumpers carry."""

    name: str
    rear: Bumper
    front: Bumper
    type: str | None = None
    depot: str | None = None


def read(path: Path) -> list[Line]:
    """Read the lines of a file whose columns are COLUMNS; others are left alone.

    Raises InputError, which names the row at fault.
    """
    table = spreadsheet.read(path)
    missing = [name for name in NEEDED if name not in table.columns]
    if missing:
        raise spreadsheet.refused(
            f"{path} has no column {', '.join(missing)}.", f"Give it the columns {', '.join(COLUMNS)}."
        )
    if not table.rows:
        raise spreadsheet.refused(f"{path} has column names and no vehicle.", "Write a row for each vehicle.")
    return [_line(path, row) for row in table.rows]


def _line(path: Path, row: spreadsheet.Row) -> Line:
    try:
        return Line(
            checked_name(row.cells["vehicle"], "a vehicle"),
            _bumper(row.cells, "rear"),
            _bumper(row.cells, "front"),
            checked_optional(row.cells.get("type"), "the type"),
            checked_optional(row.cells.get("depot"), "the depot"),
        )
    except InputError as error:
        raise spreadsheet.refused(
            f"Line {row.number} of {path} makes no sense: {error.what}", error.next_step
        ) from error


def _bumper(cells: Mapping[str, str], which: str) -> Bumper:
    return vehicles.checked_bumper(_number(cells, f"{which}_positions"), _number(cells, f"{which}_class_khz"))


def _number(cells: Mapping[str, str], column: str) -> int:
    """A cell's whole number, 0 for an empty one and for a custom class."""
    text = cells.get(column, "")
    if not text or text.lower() == "custom":
        return 0
    match = NUMBER.fullmatch(text)
    number = whole(match[1]) if match else None
    if number is None:
        raise spreadsheet.refused(
            f"{column} is {text[:40]!r}, not a whole number.",
            f"Write a whole number into {column}; empty is 0.",
        )
    return number
