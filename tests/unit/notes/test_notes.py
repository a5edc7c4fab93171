"""The notes that are made from tables are as the tables are, and every link in the notes leads somewhere."""

import re
from pathlib import Path

import pytest
from curbtick.hardware import nets
from curbtick.hardware.components import Resistor
from curbtick.hardware.values import SUPPLY
from curbtick_probe.board.rp2 import pins

from hardware_notes import wiring
from hardware_notes.board import views

NOTES = wiring.FOLDER


def test_made_notes_are_fresh() -> None:
    assert views.stale() == [], "run python -m tests.bench.board --write"


def test_a_stale_view_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another resistor value in the table changes the parts list, the schematic, the netlist and the circuit."""
    monkeypatch.setitem(SUPPLY, "Rs1", Resistor(12.0, 0.01, "amplifiers' supply filter"))
    assert {"parts.md", "outputs.svg", "probe.net", "frontend.cir"} <= set(views.stale())


def test_firmware_and_nets_agree_on_every_pad(monkeypatch: pytest.MonkeyPatch) -> None:
    assert wiring.disagreements() == []
    monkeypatch.setitem(nets.CONTROLLER_NETS, "31", "HIGH")
    assert len(wiring.disagreements()) == 1


def test_diagram_shows_every_wired_pin() -> None:
    drawing = (NOTES / "wiring.svg").read_text()
    for number, pad, name, *_ in pins.PINS:
        assert (f"{pad}  GP{number}  {name}" in drawing) == bool(pad), name


@pytest.mark.parametrize("page", sorted(NOTES.glob("*.md")), ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    targets = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text())
    missing = [target for target in targets if "://" not in target and not (page.parent / target).exists()]
    assert missing == []
