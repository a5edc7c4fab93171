"""A real headless Chromium (Debian's, or the one CURBTICK_CHROMIUM names) and pages to show it."""

import sqlite3
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from curbtick import dates
from curbtick.report import build
from curbtick.store.history import Store
from curbtick.web import server as localpage
from playwright.sync_api import Browser, sync_playwright

from tests import programs
from tests.unit.bench.report.reportdata import Depot

NOW_MS = int(datetime.now().timestamp() * 1000)
# The depot's last visit began an hour ago, which may have been yesterday.
DAY = dates.date(NOW_MS - 3_600_000)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    program = programs.needed(programs.CHROMIUM)
    with sync_playwright() as driver:
        found = driver.chromium.launch(executable_path=str(program), args=FLAGS)
        yield found
        found.close()


@pytest.fixture(scope="session")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Depot:
    return Depot(tmp_path_factory.mktemp("depot"), NOW_MS)


@pytest.fixture(scope="session")
def site(depot: Depot, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("site")
    build(depot.store, out, dates.day_start_ms(DAY), NOW_MS)
    return out


@pytest.fixture
def local(depot: Depot, tmp_path: Path) -> Iterator[localpage.LocalServer]:
    """The local page over a copy of the depot, since tests change it."""
    with sqlite3.connect(tmp_path / "depot.db") as copy, sqlite3.connect(depot.path) as source:
        source.backup(copy)
    server = localpage.serve(Store(tmp_path / "depot.db"))
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server
    server.stop()
    thread.join(10)
    server.store.close()
