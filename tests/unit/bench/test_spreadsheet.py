"""What spreadsheet programs save is read; what makes no sense is refused with row and column."""

import unicodedata
from pathlib import Path

import openpyxl
import pytest
from curbtick import spreadsheet
from curbtick.errors import InputError
from curbtick.fleet import lines
from curbtick.fleet.vehicles import Bumper
from curbtick.naming import NAME_MAX, UNSEEN, checked_name
from hypothesis import given
from hypothesis import strategies as st

VANS = [
    ["Vehicle", "Rear positions", "REAR_CLASS_KHZ", "front positions", "Front class kHz"],
    ["Van 1", "4", "48", "", ""],
    ["Lkw M\u00fcnchen", "6", "58 kHz", "4", "40,0"],
]
READ = [
    lines.Line("Van 1", Bumper(4, 48), Bumper(0, 0)),
    lines.Line("Lkw M\u00fcnchen", Bumper(6, 58), Bumper(4, 40)),
]


def saved(
    folder: Path, rows: list[list[str]], separator: str = ",", encoding: str = "utf-8", head: str = ""
) -> Path:
    path = folder / "list.csv"
    quoted = [[f'"{cell}"' if separator in cell else cell for cell in row] for row in rows]
    path.write_bytes((head + "\r\n".join(separator.join(row) for row in quoted) + "\r\n").encode(encoding))
    return path


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_every_way_of_saving_reads_the_same(tmp_path: Path, separator: str, encoding: str) -> None:
    assert lines.read(saved(tmp_path, VANS, separator, encoding)) == READ


def test_a_line_that_names_the_separator_is_no_row(tmp_path: Path) -> None:
    path = saved(tmp_path, VANS, "|", head="sep=|\r\n")
    assert lines.read(path) == READ
    path = saved(tmp_path, [*VANS, ["Van 2", "x", "48", "", ""]], "|", head="sep=|\r\n")
    with pytest.raises(InputError, match="Line 5 of "):
        lines.read(path)


def test_empty_rows_and_columns_at_the_end_are_left_out(tmp_path: Path) -> None:
    rows = [[*row, "", ""] for row in VANS] + [[""] * 7] * 40
    assert lines.read(saved(tmp_path, rows, ";")) == READ


def test_a_workbook_is_read(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in VANS:
        book.active.append([float(cell) if cell.isdigit() else cell for cell in row])
    book.active.append([None] * 3)
    book.save(tmp_path / "list.xlsx")
    assert lines.read(tmp_path / "list.xlsx") == READ


def test_a_workbook_that_is_none_is_refused(tmp_path: Path) -> None:
    for number, data in enumerate((b"", b"Vehicle;x", b"PK\3\4 not really")):
        path = tmp_path / f"{number}.xlsx"
        path.write_bytes(data)
        with pytest.raises(InputError, match="no workbook that can be read|is empty"):
            lines.read(path)


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        (VANS[:1], "column names and no vehicle"),
        ([], "is empty"),
        (
            [["vehicle", "Vehicle", "rear_positions"], ["a", "b", "4"]],
            "Columns A and B of .* are both called vehicle",
        ),
        ([[*VANS[0], ""], [*VANS[1], "note"]], "Column F of .* has cells and no name"),
        ([VANS[0], ["Van\u20281", "4", "48", "", ""]], "Line 2 of .* a character that nobody sees"),
        ([VANS[0], ["Van 1", "4", "48 Hz", "", ""]], "Line 2 of .* rear_class_khz is '48 Hz'"),
        ([VANS[0], ["Van 1", "4,5", "48", "", ""]], "Line 2 of .* rear_positions is '4,5'"),
        ([VANS[0], ["x" * (NAME_MAX + 1), "4", "48", "", ""]], "Line 2 of .* has 81 characters"),
        ([VANS[0], ["", "4", "48", "", ""]], "Line 2 of .* The name of a vehicle is empty"),
    ],
)
def test_what_makes_no_sense_is_named(tmp_path: Path, rows: list[list[str]], what: str) -> None:
    with pytest.raises(InputError, match=what):
        lines.read(saved(tmp_path, rows, ";"))


def test_a_name_with_an_end_of_line_in_it_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "list.csv"
    path.write_text('vehicle,rear_positions,rear_class_khz\n"Van\n1",4,48\n')
    with pytest.raises(InputError, match="a character that nobody sees .U.000A"):
        lines.read(path)


def test_columns_are_called_as_a_spreadsheet_calls_them() -> None:
    assert [spreadsheet.letter(n) for n in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]


@given(st.text(max_size=100))
def test_a_name_is_kept_as_it_is_seen_or_refused(text: str) -> None:
    try:
        name = checked_name(text, "a vehicle")
    except InputError as error:
        assert "\n" not in error.what and error.next_step
        return
    assert 1 <= len(name) <= NAME_MAX and name == name.strip()
    assert not any(unicodedata.category(char) in UNSEEN for char in name)
    assert checked_name(name, "a vehicle") == name
