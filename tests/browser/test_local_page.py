"""The local page: loopback alone, its own host and origin alone, nothing changed by a GET, and every action
done.
"""

import http.client
import json
import socket
import time
import urllib.parse
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from curbtick.errors import LinkError
from curbtick.exchange.pull import Pull
from curbtick.fleet.work import assign
from curbtick.fleet.work import findings as worklist
from curbtick.web import answers, forms, pulling
from curbtick.web.server import LocalServer
from playwright.sync_api import Browser, Page

from tests.unit.bench.fake_client import FakeClient


def ask(
    local: LocalServer, method: str, path: str, form: dict[str, str] | None = None, **headers: str | None
) -> tuple[int, str]:
    """One request by hand; a header given as None is left out."""
    connection = http.client.HTTPConnection("127.0.0.1", local.number, timeout=30)
    body = urllib.parse.urlencode(form or {})
    sent: dict[str, str | None] = {
        "Host": f"127.0.0.1:{local.number}",
        "Origin": f"http://127.0.0.1:{local.number}",
    }
    sent |= headers
    connection.putrequest(method, path, skip_host=True)
    for name, value in sent.items():
        if value is not None:
            connection.putheader(name, value)
    if method == "POST":
        connection.putheader("Content-Type", "application/x-www-form-urlencoded")
        connection.putheader("Content-Length", headers.get("Content-Length") or str(len(body)))
    connection.endheaders(body.encode() if method == "POST" else None)
    answer = connection.getresponse()
    return answer.status, answer.read().decode()


def findings(local: LocalServer) -> list[worklist.Finding]:
    with local.store.read() as connection:
        return worklist.load(connection)


def work(local: LocalServer, token: str | None = None) -> dict[str, str]:
    return {
        "token": token or local.token,
        "finding": str(findings(local)[0].id),
        "step": "repair",
        "by": "Ann",
    }


def test_it_listens_on_loopback_alone(local: LocalServer) -> None:
    assert local.url.startswith("http://127.0.0.1:")
    own = [info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    for address in {str(a) for a in own if not str(a).startswith("127.")}:
        with pytest.raises(OSError), socket.create_connection((address, local.number), timeout=2):
            pass


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "", "127.0.0.1", None])
def test_another_host_name_is_refused(local: LocalServer, host: str | None) -> None:
    """A name that an attacker points at 127.0.0.1 must not become a way in."""
    # A request without any Host is no HTTP/1.1 (RFC 9112, section 3.2): 400.
    refused = 400 if host is None else 403
    assert ask(local, "GET", "/index.html", Host=host)[0] == refused
    assert ask(local, "POST", "/work", work(local), Host=host)[0] == refused
    assert findings(local)[0].state == "open"


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1", "", None])
def test_a_change_from_another_origin_is_refused(local: LocalServer, origin: str | None) -> None:
    assert ask(local, "POST", "/work", work(local), Origin=origin)[0] == 403
    assert findings(local)[0].state == "open"


def test_a_change_without_the_token_is_refused(local: LocalServer) -> None:
    for token in ("", "x", local.token[:-1] + "!"):
        assert ask(local, "POST", "/work", {**work(local), "token": token})[0] == 403
    assert findings(local)[0].state == "open"


def test_a_get_changes_nothing(local: LocalServer) -> None:
    query = urllib.parse.urlencode(work(local))
    for path in (f"/work?{query}", f"/swap?{query}", f"/pull?{query}", f"/assign?{query}", f"/undo?{query}"):
        assert ask(local, "GET", path)[0] == 404
    assert findings(local)[0].state == "open"
    assert local.puller.progress.pulling is False


def test_other_methods_and_long_forms_are_refused(local: LocalServer) -> None:
    assert ask(local, "PUT", "/work")[0] == 405
    assert ask(local, "POST", "/work", work(local), **{"Content-Length": "999999"})[0] == 413
    assert ask(local, "POST", "/nonsense", {"token": local.token})[0] == 404


@pytest.mark.parametrize(
    "path", ["/../etc/passwd", "/vehicle-999.html", "/reading-x.html", "/%2e%2e/x", "/vehicle-x.html"]
)
def test_a_page_that_is_not_there(local: LocalServer, path: str) -> None:
    assert ask(local, "GET", path)[0] == 404


@pytest.mark.parametrize(
    "form",
    [
        {"finding": "999", "step": "clean"},
        {"finding": "x", "step": "clean"},
        {"finding": "1", "step": "polish"},
        {},
    ],
)
def test_a_senseless_action_is_said_on_the_page(local: LocalServer, form: dict[str, str]) -> None:
    status, text = ask(local, "POST", "/work", {**form, "token": local.token})
    assert status == 400 and ("no finding" in text or "no number" in text or "no step" in text)


def test_work_done_is_noted(local: LocalServer) -> None:
    first = findings(local)[0]
    status, text = ask(local, "POST", "/work", {**work(local), "note": "<b>fault</b> 17"})
    assert status == 200 and f"Noted on finding {first.id}" in text
    noted = next(f for f in findings(local) if f.id == first.id)
    assert noted.state == "done" and noted.steps[-1].note == "<b>fault</b> 17"
    assert "<b>fault</b>" not in ask(local, "GET", "/work.html")[1]


def test_assigning_and_taking_it_back(local: LocalServer) -> None:
    with local.store.read() as connection:
        ref = assign.unassigned(connection)[0].ref
    form = {"token": local.token, "vehicle": "3", "reading": ref, "bumper": "0", "position": "2"}
    assert "1 readings belong to Van 3 now" in ask(local, "POST", "/assign", form)[1]
    with local.store.read() as connection:
        assert len(assign.unassigned(connection)) == 1
    assert (
        "1 readings are where they were"
        in ask(local, "POST", "/undo", {"token": local.token, "assignment": "1"})[1]
    )
    with local.store.read() as connection:
        assert len(assign.unassigned(connection)) == 2


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    made = context.new_page()
    faults: list[str] = []
    made.on("pageerror", lambda error: faults.append(str(error)))
    made.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    yield made
    context.close()
    assert faults == []


def test_the_bench_page_in_a_browser(local: LocalServer, page: Page) -> None:
    page.goto(local.url)
    assert Axe().run(page).violations_count == 0
    before = findings(local)[0]
    task = page.get_by_role("form", name=f"Finding {before.id}", exact=True)
    assert task.get_by_label("Step done").input_value() == before.next_step, "the next step is preselected"
    task.get_by_label("Step done").select_option("repair")
    task.get_by_label("Done by").fill("Ann")
    task.get_by_role("button", name="Save").click()
    assert page.locator("#said").inner_text() == f"Noted on finding {before.id}."
    page.locator("#sv").select_option(label="Van 1 (North <yard>)")
    page.get_by_label("One position").fill("1")
    page.get_by_label("The other").fill("2")
    page.get_by_role("button", name="Note the swap").click()
    assert "changed places" in page.locator("#said").inner_text()
    page.get_by_role("link", name="Fleet").click()
    assert page.locator("#fleet tbody tr:visible").count() == 6
    page.get_by_role("link", name="Bench").click()
    assert page.locator("h1").inner_text() == "Bench"


def test_a_pull_shows_how_far_it_is_and_ends_with_what_it_brought(
    local: LocalServer, page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pull itself is tested elsewhere over the real link; here a slow one stands in to watch the page
    follow it.
    """
    from threading import Event

    go_on = Event()

    def slow_pull(_store: Any, _probe: Any, progress: Any) -> Pull:
        progress(40, 100)
        assert go_on.wait(20)
        return Pull("e660", 100, 90, 100, 100, 1, True, True, True, (), 1.0)

    monkeypatch.setattr(pulling, "pull_probe", slow_pull)
    local.puller._connect = lambda _port: FakeClient()
    page.goto(local.url)
    page.get_by_role("button", name="Pull").click()
    page.get_by_text("Record 40 of 100").wait_for()
    assert page.locator("#bar").get_attribute("value") == "40"
    assert "under way" in ask(local, "POST", "/pull", {"token": local.token})[1]
    go_on.set()
    page.get_by_text("100 records pulled, 90 new").wait_for()


def wait_for_end(local: LocalServer) -> dict[str, Any]:
    """What the page is told once a pull has ended."""
    for _ in range(100):
        state: dict[str, Any] = json.loads(ask(local, "GET", "/progress.json")[1])
        if not state["pulling"]:
            return state
        time.sleep(0.05)
    raise AssertionError("the pull never ends")


def test_no_probe_is_said_on_the_page(local: LocalServer) -> None:
    def nobody(_port: str | None) -> Any:
        raise LinkError("No probe is plugged in.", "Nothing was read or changed.", "Plug the probe in.")

    local.puller._connect = nobody
    ask(local, "POST", "/pull", {"token": local.token})
    assert wait_for_end(local)["words"] == "No probe is plugged in. Plug the probe in."


def test_a_pull_that_fails_in_an_unforeseen_way_ends_all_the_same(local: LocalServer) -> None:
    """A page that says "pulling" for ever hides that nothing comes."""

    def broken(_port: str | None) -> Any:
        raise ZeroDivisionError("planted")

    local.puller._connect = broken
    ask(local, "POST", "/pull", {"token": local.token})
    wait_for_end(local)
    assert "An error nobody foresaw: ZeroDivisionError" in local.puller.progress.words
    assert "A pull is under way" not in ask(local, "POST", "/pull", {"token": local.token})[1]


def test_an_unforeseen_error_ends_in_a_page(local: LocalServer, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> Any:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(answers.Site, "named", broken)
    status, text = ask(local, "GET", "/fleet.html")
    assert status == 500 and "ZeroDivisionError: planted" in text and "Traceback" not in text
    assert ask(local, "GET", "/bench.html")[0] == 200


@pytest.mark.parametrize("number", ["99999999999999999999", "%C2%B2", "%D9%A3"])
def test_numbers_of_any_size_and_script_name_no_page(local: LocalServer, number: str) -> None:
    for page in (f"/vehicle-{number}.html", f"/reading-{number}.html", f"/reading-000066-{number}.html"):
        assert ask(local, "GET", page)[0] == 404


def test_a_token_outside_ascii_is_refused(local: LocalServer) -> None:
    assert ask(local, "POST", "/work", {**work(local), "token": "\u00e9"})[0] == 403


def test_a_host_or_origin_named_twice_is_refused(local: LocalServer) -> None:
    own = f"127.0.0.1:{local.number}"
    request = f"POST /work HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nOrigin: http://{own}\r\n\r\n"
    with socket.create_connection(("127.0.0.1", local.number), timeout=10) as wire:
        wire.sendall(request.encode())
        assert wire.recv(100).startswith(b"HTTP/1.1 403")


def test_a_form_that_does_not_arrive_is_given_up(local: LocalServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forms, "BODY_WITHIN_S", 0.2)
    own = f"127.0.0.1:{local.number}"
    head = f"POST /work HTTP/1.1\r\nHost: {own}\r\nOrigin: http://{own}\r\nContent-Length: 50\r\n\r\ntoken="
    with socket.create_connection(("127.0.0.1", local.number), timeout=10) as wire:
        wire.sendall(head.encode())
        assert wire.recv(100).startswith(b"HTTP/1.1 408")
