"""A name that a template asks for and nobody gives is an error; it would leave a column of a page empty."""

from dataclasses import asdict, fields
from types import SimpleNamespace

import pytest
from curbtick.report.pages.frame import ENVIRONMENT
from curbtick.report.views.places import ReadingRow
from curbtick.report.views.reread import AgainView
from jinja2 import UndefinedError

ROWS = {
    "reading_table": ReadingRow(*["x"] * 13, superseded=False),
    "again_table": AgainView(*["x"] * 9),
}
CASES = [(macro, field.name) for macro, row in ROWS.items() for field in fields(row)]


def table(macro: str, row: SimpleNamespace) -> str:
    """A table of one row, with the vehicle and without."""
    macros = ENVIRONMENT.get_template("macros.html").module
    drawn = [getattr(macros, macro)([row], "caption", with_vehicle) for with_vehicle in (True, False)]
    return "".join(map(str, drawn))


@pytest.mark.parametrize("macro", ROWS)
def test_a_whole_row_is_drawn(macro: str) -> None:
    assert table(macro, SimpleNamespace(**asdict(ROWS[macro]))).count("<tr") == 4


@pytest.mark.parametrize(("macro", "name"), CASES, ids=str)
def test_a_renamed_field_cannot_empty_a_column(macro: str, name: str) -> None:
    row = asdict(ROWS[macro])
    row[f"{name}_renamed"] = row.pop(name)
    with pytest.raises(UndefinedError, match=name):
        table(macro, SimpleNamespace(**row))


@pytest.mark.parametrize("name", sorted({*ENVIRONMENT.list_templates(["html"])} - {"macros.html"}))
def test_a_template_without_its_values_is_an_error(name: str) -> None:
    with pytest.raises(UndefinedError):
        ENVIRONMENT.get_template(name).render()
