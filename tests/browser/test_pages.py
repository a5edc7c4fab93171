"""The report in a real browser: accessible by axe, usable by keyboard, readable on a phone and on paper."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from curbtick.report.pages.fleet import fleet_page
from curbtick.report.pages.frame import Frame
from curbtick.report.views import site_map
from playwright.sync_api import Browser, Page

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1200, "height": 900}


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport=DESK)
    made = context.new_page()
    faults: list[str] = []
    made.on("pageerror", lambda error: faults.append(str(error)))
    made.on("requestfailed", lambda request: faults.append(request.url))
    yield made
    context.close()
    assert faults == []


def kinds(site: Path) -> list[str]:
    """One page of every kind; the reading's with a snippet and the one without."""
    with_snippet = next(
        p.name for p in sorted(site.glob("reading-*")) if "Spectrogram" in p.read_text(encoding="utf-8")
    )
    without = next(
        p.name for p in sorted(site.glob("reading-*")) if "No snippet" in p.read_text(encoding="utf-8")
    )
    return [
        *(overview.file for overview in site_map.OVERVIEWS),
        "vehicle-1.html",
        "vehicle-2.html",
        "vehicle-3.html",
        "vehicle-5.html",
        with_snippet,
        without,
    ]


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_axe_finds_nothing(page: Page, site: Path, viewport: dict[str, int]) -> None:
    """Deque's axe-core, every rule it runs by default (WCAG 2 A and AA and best practices)."""
    page.set_viewport_size(viewport)  # type: ignore[arg-type]
    for name in kinds(site):
        page.goto((site / name).as_uri())
        found = Axe().run(page)
        report = found.generate_report() if found.violations_count else ""
        assert found.violations_count == 0, f"{name}: {report}"


def test_no_page_is_wider_than_a_phone(page: Page, site: Path) -> None:
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    for name in kinds(site):
        page.goto((site / name).as_uri())
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= PHONE["width"], f"{name} is {width} wide"


def test_the_fleet_is_filtered_and_searched_without_a_server(page: Page, site: Path) -> None:
    page.goto((site / site_map.FLEET.file).as_uri())
    shown = page.locator("#fleet tbody tr:visible")
    assert shown.count() == 6
    assert shown.first.inner_text().startswith("Van 5")
    page.get_by_label("Find a vehicle, type or depot").fill("minibus van 3")
    assert shown.count() == 1 and "Van 3" in shown.first.inner_text()
    assert page.get_by_role("status").inner_text() == "1 of 6 vehicles shown"
    page.get_by_label("Find a vehicle, type or depot").fill("")
    page.get_by_label("State").select_option("pass")
    assert shown.count() == 3


def test_without_scripts_the_whole_fleet_stands(browser: Browser, site: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((site / site_map.FLEET.file).as_uri())
    assert page.locator("#fleet tbody tr:visible").count() == 6
    assert not page.locator("#filter").is_visible()
    context.close()


def test_the_keyboard_reaches_everything(page: Page, site: Path) -> None:
    """Tab walks the skip link, the pages, the filter and the table; the skip link works; what has focus is
    visible.
    """
    page.goto((site / site_map.FLEET.file).as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    seen = []
    for _ in range(14):
        page.keyboard.press("Tab")
        seen.append(page.evaluate("document.activeElement.id || document.activeElement.textContent"))
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid", seen[-1]
    titles = [overview.title for overview in site_map.OVERVIEWS]
    assert seen[: len(titles)] == titles
    assert "find" in seen and "state" in seen and "Van 5" in seen


def test_a_vehicles_bumper_leads_to_its_readings(page: Page, site: Path) -> None:
    page.goto((site / "vehicle-1.html").as_uri())
    page.get_by_role("group", name="Rear bumper").get_by_role("link", name="position 5 DEAD").click()
    assert page.locator("h1").inner_text().startswith("Reading ")
    assert "DEAD" in page.locator("p.answer").inner_text()


def test_the_work_list_prints_a_page_for_each_vehicle(page: Page, site: Path) -> None:
    page.goto((site / site_map.WORK.file).as_uri())
    page.emulate_media(media="print")
    assert not page.locator("header nav").is_visible()
    sheets = page.locator(".sheet").count()
    printed = page.pdf(format="A4")
    assert sheets == 3
    assert printed.count(b"/Type /Page\n") >= sheets


def test_colours_are_printed_where_they_carry_meaning(page: Page, site: Path) -> None:
    page.goto((site / "vehicle-1.html").as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.querySelector('svg.bumper')).printColorAdjust") == "exact"


def test_five_hundred_vehicles_are_filtered_at_once(page: Page, tmp_path: Path) -> None:
    from curbtick.fleet.places.state import VehicleState
    from curbtick.fleet.vehicles import Vehicle

    states = [VehicleState(Vehicle(n, f"Van {n}", "van", f"Depot {n % 7}"), (), {}) for n in range(500)]
    (tmp_path / site_map.FLEET.file).write_text(
        fleet_page(Frame(0, (), {}, {}, frozenset()), states), encoding="utf-8"
    )
    begun_s = time.monotonic()
    page.goto((tmp_path / site_map.FLEET.file).as_uri())
    page.get_by_label("Find a vehicle, type or depot").fill("van 499")
    assert page.get_by_role("status").inner_text() == "1 of 500 vehicles shown"
    assert time.monotonic() - begun_s < 10
