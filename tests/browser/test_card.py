"""The technician's card: one sheet on either paper, readable on a phone, without a barrier."""

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from curbtick.virtual.panel.card import card
from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("card") / "card.html"
    path.write_text(card(), encoding="utf-8")
    return path


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_on_one_sheet(browser: Browser, page_file: Path, paper: str) -> None:
    page = browser.new_page()
    page.goto(page_file.as_uri())
    assert page.pdf(format=paper).count(b"/Type /Page\n") == 1
    page.close()


def test_it_fits_a_phone_and_has_no_barrier(browser: Browser, page_file: Path) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 780})
    page.goto(page_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert Axe().run(page).violations_count == 0
    page.close()
