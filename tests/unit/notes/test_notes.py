"""The notes that are made from tables are as the tables are, and every link in the notes leads somewhere."""

import re
from pathlib import Path

import pytest
from curbtick_probe.board.rp2 import pins

from hardware_notes import wiring

NOTES = wiring.FOLDER


@pytest.mark.parametrize("name", sorted(wiring.MADE))
def test_made_notes_are_fresh(name: str) -> None:
    assert (NOTES / name).read_text() == wiring.MADE[name](), "run python -m hardware_notes.wiring"


def test_diagram_shows_every_wired_pin() -> None:
    drawing = (NOTES / "wiring.svg").read_text()
    for number, pad, name, *_ in pins.PINS:
        assert (f"{pad}  GP{number}  {name}" in drawing) == bool(pad), name


@pytest.mark.parametrize("page", sorted(NOTES.glob("*.md")), ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text())
    missing = [target for target in targets if "://" not in target and not (page.parent / target).exists()]
    assert missing == []
