"""Whoever is told that there is nothing to do has heard of every RETRY and of every reading without a vehicle."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from curbtick.dates import date, day_start_ms
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.work import assign, findings, reread
from curbtick.report import Site, build
from curbtick.store.history import Store
from curbtick_wire import names, records

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, Logbook, add_round, add_vehicle
from tests.unit.bench.commands.test_commands import call, json_of
from tests.unit.bench.report.test_site import Page

CALM = "every position read this day passes"
UNKNOWN: dict[str, Any] = {"level_cdb": records.NONE_I16}
RETRY = {**UNKNOWN, "verdict": names.RETRY, "reasons": names.mask_of(names.REASONS, ["noisy"])}
DEAD = {**UNKNOWN, "verdict": names.DEAD, "reasons": names.mask_of(names.REASONS, ["only_neighbour"])}


class Yard:
    """One van, a probe's log book, and the pages of any day."""

    def __init__(self, folder: Path) -> None:
        self.db = folder / "history.db"
        self.store = Store(self.db)
        self.van = add_vehicle(self.store, "Van 1")
        self.reference = add_vehicle(self.store, "Reference", 1, is_reference=True)
        add_round(self.store, 1, [self.van, self.reference])
        self.book = Logbook(self.store)

    def read(self, at_ms: int, *values: Mapping[str, Any], loose: bool = False) -> list[int]:
        where = {"round_id": 0, "vehicle": 0} if loose else {"round_id": 1}
        seqs = self.book.visit(at_ms, *({**where, **fields} for fields in values))
        self.refresh(at_ms)
        return seqs

    def refresh(self, at_ms: int) -> None:
        with self.store.write() as connection:
            findings.refresh(connection)

    def page(self, name: str = "day.html", day_ms: int = NOON_MS) -> Page:
        with self.store.read() as connection:
            text = Site(connection, day_start_ms(date(day_ms)), day_ms + 3_600_000).named(name)
        assert text is not None
        return Page(text)

    def work(self, *words: str) -> tuple[dict[str, Any], str]:
        """`curbtick work` as an object and as people read it."""
        said = call("work", *words, db=self.db).stdout
        return json_of("work", *words, db=self.db), re.sub(r"\s+", " ", said)


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    made = Yard(tmp_path)
    yield made
    made.store.close()


def test_a_retry_is_to_be_read_again_and_not_everything_passes(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1}, {"position": 3, **RETRY})
    day = yard.page()
    assert CALM not in day.text
    assert re.search(r"To be read again.*Van 1 rear 3 R RETRY too noisy to tell Read again", day.text)
    assert day.links.count("reading-302a11-3.html") >= 2, "in the list, beside the day's readings"
    for name in ("work.html", f"vehicle-{yard.van}.html"):
        text = yard.page(name).text
        assert "rear 3" in text and "Read again" in text and "too noisy to tell" in text, name
        assert "Nothing to do" not in text and "Nothing is wrong" not in text, name
    made, said = yard.work()
    place = made["read_again"][0]
    assert (place["vehicle"], place["bumper"], place["position"]) == ("Van 1", "rear", 3)
    assert (place["verdict"], place["reasons"], place["reading"]) == ("retry", ["noisy"], "302a11-3")
    assert "Nothing to do" not in said and "Van 1, rear 3: retry (too noisy to tell)" in said


def test_a_retry_that_a_later_reading_settled_is_not_read_again(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1}, {"position": 3, **RETRY})
    yard.read(NOON_MS + DAY_MS, {"position": 3})
    text = yard.page().text
    assert "To be read again" not in text and CALM not in text
    assert "1 reading of this day did not pass, but the places pass by later readings" in text
    assert CALM in yard.page(day_ms=NOON_MS + DAY_MS).text
    made, said = yard.work()
    assert made["read_again"] == [] and "Nothing to do." in said and "8 positions were never read" in said


def test_a_retry_on_a_later_day_still_stands_on_the_page_of_the_first(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 3, **RETRY})
    yard.read(NOON_MS + DAY_MS, {"position": 3, **RETRY})
    assert "rear 3 R RETRY" in yard.page().text and "302a11-4" in yard.page().text


def test_a_day_on_which_everything_passes_says_so_and_an_empty_one_does_not(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1, **RETRY}, {"position": 1, "supersedes_seq": 2}, {"position": 2})
    assert CALM in yard.page().text
    empty = yard.page(day_ms=NOON_MS + 5 * DAY_MS).text
    assert CALM not in empty and "Nothing: no reading was taken on this day." in empty


@pytest.mark.parametrize(("shown", "words"), [(DEAD, "D DEAD"), (RETRY, "R RETRY"), ({}, "")])
def test_a_reading_without_a_vehicle_is_counted_linked_and_never_called_passed(
    yard: Yard, shown: dict[str, Any], words: str
) -> None:
    yard.read(NOON_MS, {"position": 1})
    yard.read(NOON_MS + 60_000, {"position": 0, "positions": 0, **shown}, loose=True)
    day = yard.page()
    verdict = words.rsplit(maxsplit=1)[-1] if words else "PASS"
    assert CALM not in day.text and f"1 reading belongs to no vehicle yet (1 {verdict})" in day.text
    assert day.links.count("reading-302a11-4.html") == 2, "beside the one among the day's readings"
    assert f"not assigned no position {words}" in day.text
    made, said = yard.work()
    assert made["without_vehicle"] == {verdict.lower(): 1} and "Nothing to do" not in said
    assert f"1 reading belongs to no vehicle yet (1 {verdict})" in said
    assert f"1 reading belongs to no vehicle yet (1 {verdict})" in yard.page("work.html").text
    assert "Nothing to do" not in yard.page("work.html").text


def test_an_assigned_reading_is_no_longer_counted(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 0, "positions": 0}, loose=True)
    with yard.store.write() as connection:
        loose = assign.unassigned(connection)
        van = vehicles.load(connection, [yard.van])[0]
        assign.to_vehicle(connection, loose, van, NOON_MS, bumper=names.REAR, first_position=1)
        assert reread.loose_counts(connection) == {}
    assert CALM in yard.page().text


def test_the_reference_sensor_is_read_again_too(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1}, {"vehicle": 2, "positions": 1, **RETRY})
    text = yard.page().text
    assert CALM not in text and "Read the reference sensor again" in text


def test_a_bad_reading_where_no_sensor_is_known_is_listed(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 1}, {"position": 5, "positions": 6, **DEAD})
    text = yard.page().text
    assert CALM not in text and "Van 1 rear 5 D DEAD" in text and "No sensor is fitted there" in text


def test_a_silent_bumper_is_one_finding_and_no_list_of_retries(yard: Yard) -> None:
    yard.read(NOON_MS, *({"position": p, **RETRY} for p in range(1, 5)))
    silent = (names.REAR, 0, "not_transmitting", (), findings.OPEN, NOON_MS, None, None, None, ())
    finding = findings.Finding(1, yard.van, "Van 1", *silent)
    with yard.store.read() as connection:
        standing = state.of_vehicles(connection, vehicles.load(connection, [yard.van]))
    assert reread.of_states(standing, [finding]) == []
    assert [one.place.position for one in reread.of_states(standing, [])] == [1, 2, 3, 4]


def test_a_retired_vehicle_that_was_read_afterwards_is_shown_with_a_note(yard: Yard, tmp_path: Path) -> None:
    yard.read(NOON_MS - DAY_MS, {"position": 2})
    with yard.store.write() as connection:
        vehicles.retire(connection, yard.van, NOON_MS - 1)
    yard.read(NOON_MS, {"position": 2, **DEAD})
    for name in ("day.html", "fleet.html"):
        assert "Van 1 (#1) was retired on" in yard.page(name).text, name
    day = yard.page().text
    assert CALM not in day and re.search(r"Van 1 rear 2 D DEAD .*The vehicle is retired", day)
    assert "Van 1 (retired)" in yard.page("fleet.html").text
    assert "The vehicle is retired" in yard.page("work.html").text
    assert yard.work()[0]["read_again"][0]["verdict"] == "dead"
    build(yard.store, tmp_path / "out", day_start_ms(date(NOON_MS)), NOON_MS)
    page = Page((tmp_path / "out" / "day.html").read_text(encoding="utf-8"))
    assert all(link.startswith("#") or (tmp_path / "out" / link).exists() for link in page.links)


def test_a_vehicle_retired_after_its_last_reading_leaves_nothing_to_do(yard: Yard) -> None:
    yard.read(NOON_MS, {"position": 2, **DEAD}, {"position": 3, **RETRY})
    with yard.store.write() as connection:
        vehicles.retire(connection, yard.van, NOON_MS + DAY_MS)
    text = yard.page().text
    assert CALM not in text and "2 readings of this day did not pass" in text
    assert "Nothing to do." in yard.work()[1]


def test_a_weak_place_that_no_finding_names_is_listed(yard: Yard) -> None:
    yard.book.visit(NOON_MS, {"round_id": 1, "position": 2, **DEAD})
    assert "it is not on the work list" in yard.page().text
    yard.refresh(NOON_MS)
    assert "it is not on the work list" not in yard.page().text


def test_work_of_one_vehicle_speaks_of_that_one_alone(yard: Yard) -> None:
    other = add_vehicle(yard.store, "Van 2")
    add_round(yard.store, 2, [other])
    yard.read(NOON_MS, {"position": 3, **RETRY})
    made, said = yard.work("--vehicle", "Van 2")
    assert made["read_again"] == [] and made["unread"] == 8 and "Nothing to do." in said
