"""The report: every page stands alone, says what the history says, and links to nothing that is not there."""

import re
from collections.abc import Iterator
from datetime import datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from curbtick import dates
from curbtick.cautions import CAUTIONS
from curbtick.errors import InputError
from curbtick.fleet.fading import trend
from curbtick.fleet.work.past import PlaceHistory
from curbtick.report import build
from curbtick.report.drawings import svg
from curbtick.report.views import fading as fading_view
from curbtick.report.views import site_map
from curbtick.report.views.fading import Fading
from curbtick.store.history import Store

from tests.unit.bench.benchdata import Logbook, add_round, add_vehicle
from tests.unit.bench.report.reportdata import Depot, page_of

NOW_MS = int(datetime(2026, 11, 24, 15, 0).astimezone().timestamp() * 1000)
DAY = "2026-11-24"


def texts(site: Path) -> dict[str, str]:
    """Every page of a site by its name."""
    return {path.name: path.read_text(encoding="utf-8") for path in site.glob("*.html")}


class Page(HTMLParser):
    """Links, element ids, balance of tags, and the text of a page."""

    VOID = frozenset(("meta", "link", "input", "img", "br", "path", "rect", "circle", "polygon", "polyline"))

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: list[str] = []
        self.sources: list[str] = []
        self.stack: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "a" and found.get("href"):
            self.links.append(str(found["href"]))
        self.sources += [str(found[name]) for name in ("src",) if found.get(name)]
        if found.get("id"):
            self.ids.append(str(found["id"]))
        if tag not in self.VOID:
            self.stack.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.stack and self.stack.pop() == tag, f"</{tag}> does not close what is open"

    def handle_data(self, data: str) -> None:
        if not self.stack or self.stack[-1] not in ("style", "script"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("report")
    depot = Depot(folder, NOW_MS)
    build(depot.store, folder / "report", dates.day_start_ms(DAY), NOW_MS)
    yield folder / "report"
    depot.store.close()


@pytest.fixture(scope="module")
def pages(site: Path) -> dict[str, Page]:
    return {path.name: Page(path.read_text(encoding="utf-8")) for path in site.glob("*.html")}


def test_every_page_is_well_formed_with_unique_ids(pages: dict[str, Page]) -> None:
    assert len(pages) > 60
    for name, page in pages.items():
        assert page.stack == [], name
        assert len(page.ids) == len(set(page.ids)), name


def test_no_link_leads_nowhere_and_nothing_is_loaded(pages: dict[str, Page]) -> None:
    for name, page in pages.items():
        for link in page.links:
            assert link.startswith("#") or link in pages, f"{name} links to {link}"
        assert all(source.startswith("data:") for source in page.sources), name


def test_every_page_carries_the_cautions(pages: dict[str, Page]) -> None:
    for name, page in pages.items():
        for caution in CAUTIONS:
            assert caution in page.text, name


def test_the_day_says_what_was_read_and_what_is_to_do(pages: dict[str, Page]) -> None:
    text = pages["day.html"].text
    assert "6 vehicles read" in text.replace("  ", " ") or "vehicles read" in text
    for words in (
        "only a neighbour was heard",
        "not transmitting",
        "Look at the plug and the wiring first",
        "proved by a reading of",
    ):
        assert words in text, words
    assert "2 readings belong to no vehicle yet" in text


def test_seal_and_hiss_marks_stand_on_the_day(pages: dict[str, Page]) -> None:
    text = pages["day.html"].text
    assert "12.0 dB below the free reference" in text and "6.0 dB above the background" in text


def test_names_are_escaped(site: Path) -> None:
    for path in site.glob("*.html"):
        assert "North <yard>" not in path.read_text(encoding="utf-8")


def test_the_fading_sensor_gets_its_date_and_the_steady_one_none(site: Path, pages: dict[str, Page]) -> None:
    text = pages[page_of(texts(site), "Van 2")].text
    assert "Fading -0." in text and "expected to cross into WEAK on 2027-" in text
    assert text.count("expected to cross") == 2, "once as a note, once below its history"
    fading = pages["fading.html"].text
    assert "Van 2" in fading and "(between 2027-" in fading
    assert "Van 1" not in fading, "steady"


def test_what_turns_weak_first_stands_on_top() -> None:
    start_ms = dates.day_start_ms("2026-01-05")
    places = []
    for key, rate_db in enumerate((-0.0001, -0.05, -0.1)):
        points = [(start_ms + day * dates.DAY_MS, -8 + rate_db * day) for day in range(0, 90, 7)]
        found = trend.of_visits(points, -17.0, True)
        assert found is not None
        places.append(Fading(PlaceHistory(key, 0, 1, (), (), found), found))
    rows = fading_view.rows(places, {key: f"V{key}" for key in range(3)})
    assert [row["vehicle"] for row in rows] == ["V2", "V1", "V0"]
    assert rows[-1]["expected"].startswith("no date for WEAK")


def test_repairs_swaps_and_their_outcome_stand_on_the_vehicles_page(
    site: Path, pages: dict[str, Page]
) -> None:
    assert "new part 17" in pages[page_of(texts(site), "Van 4")].text
    assert "proved by a reading" in pages[page_of(texts(site), "Van 4")].text
    assert "Swap test of" in pages[page_of(texts(site), "Van 3")].text
    assert "stayed with the wiring" in pages[page_of(texts(site), "Van 3")].text
    assert "stayed with the wiring" in pages["work.html"].text, "the sheet says what the swap told"


def test_letters_of_marks_close_together_do_not_cover_each_other() -> None:
    day_ms = 86_400_000
    points = [svg.Point(n * 30 * day_ms, -8.0, "pass", -17.0, -35.0) for n in range(10)]
    events = [svg.Event((100 + n) * day_ms, letter, letter) for n, letter in enumerate("abc")]
    events += [svg.Event(270 * day_ms, letter, letter) for letter in "de"]
    drawn = str(svg.history("levels", points, events, ()))
    places = [float(found) for found in re.findall(r'class="el" x="([0-9.]+)"', drawn)]
    assert all(after - before >= 9.9 for before, after in pairwise(places))
    assert places[0] > 0 and places[-1] < 600


def test_a_drifted_probe_is_flagged_on_the_pages_that_used_it(site: Path, pages: dict[str, Page]) -> None:
    overviews = ("index.html", "day.html", "fleet.html", "work.html", "fading.html", "probes.html")
    for name in (*overviews, page_of(texts(site), "Van 1")):
        assert "has drifted by -2.5 dB" in pages[name].text, name
    assert "drifted" not in pages["limits.html"].text


def test_a_readings_page_shows_the_bench_beside_the_probe(pages: dict[str, Page]) -> None:
    withs = [
        page.text
        for name, page in pages.items()
        if name.startswith("reading-") and "spectrogram" in page.text
    ]
    assert len(withs) > 40
    for text in withs:
        probe = float(re.search(r"Level (-[\d.]+) dBFS", text)[1])  # type: ignore[index]
        bench = float(re.search(r"Level of this burst (-[\d.]+) dBFS", text)[1])  # type: ignore[index]
        assert bench == pytest.approx(probe, abs=0.15)


def test_the_work_list_prints_a_sheet_for_each_vehicle_with_a_place_to_sign(pages: dict[str, Page]) -> None:
    text = pages["work.html"].text
    assert text.count("Signature") == 3
    assert "Fault codes read with the workshop's own equipment" in text
    assert "Van 6" not in text


def test_verdicts_are_told_by_letter_and_shape_not_by_colour_alone(site: Path) -> None:
    drawn = texts(site)[page_of(texts(site), "Van 1")]
    assert re.search(r'<rect class="v dead"[^>]*/><text class="l dead"[^>]*>D</text>', drawn)
    assert re.search(r'<circle class="v pass"[^>]*/><text class="l pass"[^>]*>P</text>', drawn)
    assert 'aria-label="Rear bumper: position 1 PASS' in drawn


def test_a_day_without_readings_says_so(site: Path, tmp_path: Path) -> None:
    with Store(site.parent / "depot.db") as store:
        build(store, tmp_path / "out", dates.day_start_ms("2020-02-29"), NOW_MS)
    assert "No reading was taken on this day" in (tmp_path / "out" / "day.html").read_text(encoding="utf-8")


def test_an_empty_history_makes_a_report(tmp_path: Path) -> None:
    with Store(tmp_path / "empty.db") as store:
        built = build(store, tmp_path / "out", dates.day_start_ms(DAY), NOW_MS)
    assert built.pages == len(site_map.OVERVIEWS) and built.readings == 0


def test_undated_readings_are_listed_and_labelled(tmp_path: Path) -> None:
    with Store(tmp_path / "h.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        Logbook(store).visit(NOW_MS - 7_200_000, {"round_id": 1}, anchor=False)
        build(store, tmp_path / "out", dates.day_start_ms(DAY), NOW_MS)
    text = Page((tmp_path / "out" / "day.html").read_text(encoding="utf-8")).text
    assert "1 reading comes from a start of the probe that never met a bench" in text
    assert "date unknown" in text


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with Store(tmp_path / "h.db") as store, pytest.raises(InputError, match="cannot be written"):
        build(store, tmp_path / "file" / "out", dates.day_start_ms(DAY), NOW_MS)


def test_a_day_of_a_clock_change_is_as_long_as_it_is() -> None:
    for day in ("2026-03-29", "2026-10-25", "2026-06-01"):
        start_ms = dates.day_start_ms(day)
        assert dates.date(dates.day_end_ms(start_ms) - 1) == day
        assert dates.date(dates.day_end_ms(start_ms)) != day
    with pytest.raises(InputError, match="is not a date"):
        dates.day_start_ms("24.11.2026")
