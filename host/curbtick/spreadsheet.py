"""Tables as spreadsheet programs save them: CSV with commas, semicolons or tabs, in UTF-8 or UTF-16, and .xlsx.

A table has a row of column names and rows below it. Names are read without regard to capitals, spaces and
underscores; empty rows and empty columns at the end are left out.
"""

import codecs
import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from curbtick.errors import InputError

XLSX = ".xlsx"
SEPARATORS = (",", ";", "\t")
# Spreadsheet programs may begin a file with the separator that it uses.
SEPARATOR_LINE = "sep="
# A list of vehicles is a few kB; what is larger is something else, and must not fill the memory.
FILE_MAX = 20_000_000
UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
SAVE = "In the spreadsheet save it as .xlsx or as CSV UTF-8, and try again."


class Row(NamedTuple):
    """A row. number: as the spreadsheet (or, in a CSV file, an editor) counts it; cells: by column, trimmed."""

    number: int
    cells: dict[str, str]


class Table(NamedTuple):
    """The names of the columns, as `column_name` writes them, and the rows that are not empty."""

    columns: tuple[str, ...]
    rows: tuple[Row, ...]


class _Line(NamedTuple):
    number: int
    cells: Sequence[str]


def column_name(text: str) -> str:
    """Return a column's name as this program writes it: `Rear positions` is `rear_positions`."""
    return "_".join(text.replace("_", " ").split()).lower()


def letter(index: int) -> str:
    """Return the letter by which a spreadsheet calls a column, counted from 0: A, B, ... Z, AA, ..."""
    head, last = divmod(index, 26)
    return (letter(head - 1) if head else "") + chr(ord("A") + last)


def read(path: Path) -> Table:
    """Read a table. Raises InputError, which names the file and, where one is at fault, row and column."""
    try:
        if path.stat().st_size > FILE_MAX:
            raise refused(f"{path} has more than {FILE_MAX // 1_000_000} MB.", "Name the list itself.")
        lines = list(_of_workbook(path) if path.suffix.lower() == XLSX else _of_text(path))
    except OSError as error:
        raise refused(
            f"{path} cannot be read: {error.strerror or error}.", "Name a file that exists."
        ) from error
    filled = [line for line in lines if any(line.cells)]
    if not filled:
        raise refused(f"{path} is empty.", "Give it a row of column names and a row for each vehicle.")
    head, *rest = filled
    columns = _columns(path, head, rest)
    return Table(columns, tuple(Row(line.number, _cells(columns, line)) for line in rest))


def refused(what: str, next_step: str) -> InputError:
    """Return the error about a table that cannot be used."""
    return InputError(what, "Nothing was changed.", next_step)


def _columns(path: Path, head: _Line, rest: Iterable[_Line]) -> tuple[str, ...]:
    width = max(
        (index + 1 for line in (head, *rest) for index, cell in enumerate(line.cells) if cell), default=0
    )
    names = [column_name(cell) for cell in head.cells[:width]]
    names += [""] * (width - len(names))
    for index, name in enumerate(names):
        if not name:
            raise refused(
                f"Column {letter(index)} of {path} has cells and no name.",
                f"Name it in row {head.number}, or clear it.",
            )
        if name in names[:index]:
            raise refused(
                f"Columns {letter(names.index(name))} and {letter(index)} of {path} are both called {name}.",
                "Give each column a name of its own.",
            )
    return tuple(names)


def _cells(columns: Sequence[str], line: _Line) -> dict[str, str]:
    cells = [*line.cells[: len(columns)], *[""] * (len(columns) - len(line.cells))]
    return dict(zip(columns, cells, strict=True))


def _of_text(path: Path) -> Iterator[_Line]:
    text = _decoded(path, path.read_bytes())
    begin, _, rest = text.partition("\n")
    skipped = 0
    if begin.lower().startswith(SEPARATOR_LINE):
        separator, text, skipped = begin[len(SEPARATOR_LINE) :].strip(" \r") or "\t", rest, 1
    else:
        separator = max(SEPARATORS, key=begin.count)
    rows = csv.reader(io.StringIO(text, newline=None), delimiter=separator)
    try:
        for row in rows:
            yield _Line(rows.line_num + skipped, [cell.strip() for cell in row])
    except csv.Error as error:
        raise refused(f"Line {rows.line_num + skipped} of {path} is no CSV: {error}.", SAVE) from error


def _decoded(path: Path, data: bytes) -> str:
    encoding = "utf-16" if data.startswith(UTF16) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise refused(f"Line {line} of {path} is neither UTF-8 nor UTF-16 text.", SAVE) from error


def _of_workbook(path: Path) -> Iterator[_Line]:
    """The first sheet of a workbook."""
    # Reading a workbook takes longer to load than most commands run.
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = load_workbook(path, read_only=True, data_only=True)
        sheet = book.worksheets[0]
        for number, row in enumerate(sheet.iter_rows(values_only=True), 1):
            yield _Line(number, [_text_of(value) for value in row])
        book.close()
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, IndexError) as error:
        raise refused(f"{path} is no workbook that can be read.", SAVE) from error


def _text_of(value: object) -> str:
    """A workbook keeps every number as a floating one."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return "" if value is None else str(value).strip()
