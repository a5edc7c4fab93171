"""The first page: what is to be done on the whole fleet, worst first, whatever was read today."""

import re
from pathlib import Path

import pytest
from curbtick.fleet.work import findings, plans
from curbtick.report import build
from curbtick.store.history import Store
from curbtick_wire import names

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, Logbook, add_round, add_vehicle
from tests.unit.bench.fleet.fleetdata import LOW, Yard
from tests.unit.bench.report.test_site import Page

# The yard's other vehicle has two findings open and one repaired.
BUS_OPEN, BUS_DONE = 2, 1


def first_page(yard: Yard, out: Path, now_ms: int) -> Page:
    built = build(yard.store, out, None, now_ms)
    return Page(built.index.read_text(encoding="utf-8"))


def tiles(page: Page) -> list[int]:
    return [
        int(count) for count in re.findall(r"(\d+) (?:bumpers?|sensors?|leaks?|places?|repaired)", page.text)
    ]


def test_open_findings_stand_on_it_on_a_morning_before_the_first_pull(yard: Yard, tmp_path: Path) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW}, {"position": 3, "verdict": names.DEAD})
    page = first_page(yard, tmp_path, NOON_MS + 3 * DAY_MS)
    assert page.text.index("DEAD") < page.text.index("WEAK"), "worst first"
    assert tiles(page) == [0, 1, 1 + BUS_OPEN, 0, 0, BUS_DONE]
    assert "Clean the sensor" in page.text and "Newest readings" in page.text


def test_a_repair_stands_apart_until_it_is_proved(yard: Yard, tmp_path: Path) -> None:
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection:
        findings.note(connection, yard.findings()[0].id, "clean", NOON_MS + DAY_MS, "Ann")
    page = first_page(yard, tmp_path / "done", NOON_MS + DAY_MS)
    assert tiles(page) == [0, 0, BUS_OPEN, 0, 0, 1 + BUS_DONE]
    yard.read(NOON_MS + 2 * DAY_MS, {"position": 2})
    page = first_page(yard, tmp_path / "proved", NOON_MS + 2 * DAY_MS)
    assert tiles(page) == [0, 0, BUS_OPEN, 0, 0, BUS_DONE] and "proved by a reading" in page.text


def test_a_fleet_that_passes_is_one_folded_line(tmp_path: Path) -> None:
    with Store(tmp_path / "h.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        places = [
            {"round_id": 1, "bumper": end, "position": place} for end in (0, 1) for place in range(1, 5)
        ]
        Logbook(store).visit(NOON_MS, *places)
        built = build(store, tmp_path / "out", None, NOON_MS + DAY_MS)
    text = Page(built.index.read_text(encoding="utf-8")).text
    assert "1 vehicle passes at every position" in text and "Nothing is open." in text


@pytest.mark.parametrize(
    ("what", "reasons", "first"),
    [
        ("weak", ["off_frequency"], "compare"),
        ("weak", ["low_level", "off_frequency"], "compare"),
        ("weak", ["irregular"], "wiring"),
        ("dead", ["only_neighbour"], "wiring"),
        ("weak", ["odd_ringdown"], "mounting"),
        ("weak", ["low_level"], "clean"),
        ("weak", ["below_siblings"], "clean"),
        ("dead", [], "clean"),
        ("not_transmitting", [], "conditions"),
    ],
)
def test_the_first_step_follows_from_the_reason(what: str, reasons: list[str], first: str) -> None:
    plan = plans.plan_of(what, reasons)
    assert plan[0].id == first
    assert plan[-1].id == "read_again", "every plan ends with the reading that proves it"
    assert any(step.id in plans.REPAIRS for step in plan)


def test_a_step_of_another_plan_is_refused(yard: Yard) -> None:
    """Reverse gear repairs no weak sensor; noted as its repair it would hide an open finding for good."""
    yard.read(NOON_MS, {"position": 2, **LOW})
    with yard.store.write() as connection, pytest.raises(Exception, match="no step conditions for finding"):
        findings.note(connection, yard.findings()[0].id, "conditions", NOON_MS + DAY_MS)
    assert yard.findings()[0].state == "open"
