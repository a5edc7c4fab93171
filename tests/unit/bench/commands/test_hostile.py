"""Names and numbers of any kind through the command line: refused in three lines, or shown as they were given."""

import csv
import unicodedata
from pathlib import Path

import pytest
from curbtick.naming import UNSEEN, checked_name, visible
from curbtick.report.export import COLUMNS, unformulated, write
from hypothesis import given
from hypothesis import strategies as st

from tests.unit.bench.commands.test_commands import call, json_of, refused

HUGE = "9" * 30


@pytest.fixture
def new(tmp_path: Path) -> Path:
    return tmp_path / "new.db"


@pytest.mark.parametrize(
    "name", ["Bus [/1]", "Bus 7 [reserve]", "[red]x", "../../x", "=cmd|' /C calc'!A0", "Lkw M\u00fcnchen"]
)
def test_a_name_with_signs_in_it_is_shown_as_it_was_given(new: Path, name: str) -> None:
    json_of("vehicles", "add", name, "--rear", "4x48", db=new)
    found = call("vehicles", db=new)
    assert found.exit_code == 0 and name in found.stdout


@pytest.mark.parametrize("name", ["a\x1b[31mb", "a\u202eb", "a\nb", " ", "x" * 81])
def test_a_name_that_nobody_can_read_is_refused(new: Path, name: str) -> None:
    refused(2, "The name", "vehicles", "add", name, "--rear", "4x48", db=new)


@pytest.mark.parametrize(
    "words",
    [
        ("work", "done", HUGE, "clean"),
        ("limits", "show", HUGE),
        ("limits", "fit", "--days", HUGE),
        ("round", "send", HUGE),
        ("round", "print", HUGE),
        ("assign", "--undo", HUGE),
        ("reading", f"000066-{HUGE}"),
        ("reading", "000066-\u00b2"),
        ("vehicles", "add", "V", "--rear", "\u00b2x48"),
        ("vehicles", "add", "V", "--rear", f"{HUGE}x48"),
        ("report", "--day", "9999-12-31"),
    ],
)
def test_a_number_of_any_size_is_refused_in_three_lines(new: Path, words: tuple[str, ...]) -> None:
    json_of("vehicles", "add", "Van 1", "--rear", "4x48", db=new)
    found = call(*words, db=new)
    assert found.exit_code == 2 and len(found.stderr.strip().splitlines()) == 3, found.stderr


def test_the_option_library_s_words_do_not_reach_a_user(new: Path) -> None:
    for words in (("work", "done", "x", "clean"), ("open", "--number", "99999"), ("limits", "show", "0")):
        found = call(*words, db=new)
        assert "Input should" not in found.stderr and "parse" not in found.stderr, found.stderr


@given(st.text(max_size=40))
def test_the_terminal_is_never_sent_what_nobody_sees(text: str) -> None:
    shown = visible(text)
    assert len(shown) == len(text)
    assert not any(unicodedata.category(char) in UNSEEN - {"Cc"} or char == "\x1b" for char in shown)
    assert all(b in (a, "\ufffd") for a, b in zip(text, shown, strict=True))


@given(st.text(min_size=1, max_size=40).filter(lambda text: text.strip()))
def test_any_name_comes_out_of_csv_as_it_went_in_but_for_the_apostrophe(text: str) -> None:
    try:
        name = checked_name(text, "a vehicle")
    except Exception:
        return
    cell = unformulated(name)
    assert isinstance(cell, str) and cell.removeprefix("'" if cell != name else "") == name
    assert cell[0] not in "=+-@"


def test_a_csv_file_has_no_formula(tmp_path: Path) -> None:
    row = dict.fromkeys([name for name, _, _ in COLUMNS], 0) | {"vehicle": "=1+1", "level_cdb": -800}
    write("csv", tmp_path / "out.csv", [row])
    (read,) = csv.DictReader((tmp_path / "out.csv").open(encoding="utf-8"))
    assert read["vehicle"] == "'=1+1" and read["level_cdb"] == "-800", "a number keeps its sign"
    assert "apostrophe" in (tmp_path / "out.dictionary.json").read_text(encoding="utf-8")
