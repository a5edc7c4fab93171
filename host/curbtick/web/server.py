"""The pages on this computer alone: the report, live, with pulling, assigning, swaps and work done.

Listens on 127.0.0.1 only. A request must name that address as its Host (no rebinding of names), and
whatever changes data must be a POST that comes from this page itself: Origin must match, and so must a
token made anew at every start. A GET changes nothing.
"""

import json
import secrets
import threading
from collections.abc import Callable
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from curbtick.dates import day_start_ms, now_ms
from curbtick.errors import CurbtickError, LinkError
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import connect
from curbtick.link.port import find_ports
from curbtick.report import Site
from curbtick.report.views import site_map
from curbtick.store.history import Store
from curbtick.web import actions

LOOPBACK = "127.0.0.1"
BODY_MAX = 65_536
POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
Form = dict[str, list[str]]


class Puller:
    """Pulls a probe in the background, one at a time, and says how far it is."""

    def __init__(self, store: Store, connect: Callable[[str | None], Any] = connect) -> None:
        self._store = store
        self._connect = connect
        self._busy = threading.Lock()
        self.state: dict[str, Any] = {"pulling": False, "done": 0, "of": 0, "words": ""}

    def start(self, port: str | None) -> bool:
        """Begin pulling; False when a pull is under way already."""
        if not self._busy.acquire(blocking=False):
            return False
        self.state = {"pulling": True, "done": 0, "of": 0, "words": "Looking for the probe"}
        threading.Thread(target=self._run, args=(port,), daemon=True).start()
        return True

    def _run(self, port: str | None) -> None:
        try:
            with self._connect(port) as probe:
                found = pull_probe(self._store, probe, self._tick)
            words = f"Probe {found.probe}: {found.records} records pulled, {found.new} new."
            words = " ".join([words, *found.notes])
        except CurbtickError as error:
            words = f"{error.what} {error.next_step}"
        finally:
            self._busy.release()
        self.state = {**self.state, "pulling": False, "words": words}

    def _tick(self, done: int, of: int) -> None:
        self.state = {"pulling": True, "done": done, "of": of, "words": f"Record {done} of {of}"}


class LocalServer:
    """The server; `url` is where it listens once made, `run` serves until interrupted."""

    def __init__(self, store: Store, number: int, connect: Callable[[str | None], Any] = connect) -> None:
        self.store = store
        self.token = secrets.token_urlsafe(24)
        self.puller = Puller(store, connect)
        self._http = ThreadingHTTPServer((LOOPBACK, number), self._handler())
        self.number = self._http.server_address[1]
        self.url = f"http://{LOOPBACK}:{self.number}/"

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        return type("BoundHandler", (Handler,), {"local": self})

    def run(self) -> None:
        """Serve until Ctrl-C or `stop`."""
        try:
            self._http.serve_forever(poll_interval=0.2)
        except KeyboardInterrupt:
            pass
        finally:
            self._http.server_close()

    def stop(self) -> None:
        """Have `run` return."""
        self._http.shutdown()

    @property
    def hosts(self) -> tuple[str, str]:
        """What a request may name as its host."""
        return f"{LOOPBACK}:{self.number}", f"localhost:{self.number}"


class Handler(BaseHTTPRequestHandler):
    """Answers one request."""

    local: LocalServer
    server_version = "curbtick"
    sys_version = ""

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing is written for a request."""

    def do_GET(self) -> None:
        """Answer with a page; nothing changes."""
        if not self._host_is_ours():
            return
        name = urlsplit(self.path).path.lstrip("/") or site_map.BENCH.file
        try:
            self._get(name)
        except CurbtickError as error:
            self._text(HTTPStatus.INTERNAL_SERVER_ERROR, str(error))

    def _get(self, name: str) -> None:
        if name == "progress.json":
            self._send(HTTPStatus.OK, "application/json", json.dumps(self._progress()))
            return
        text = self._bench("") if name == site_map.BENCH.file else self._page(name)
        if text is None:
            self._text(HTTPStatus.NOT_FOUND, "There is no such page.")
        else:
            self._send(HTTPStatus.OK, "text/html; charset=utf-8", text)

    def _progress(self) -> dict[str, Any]:
        return {**self.local.puller.state, "ports": [port.path for port in find_ports()]}

    def _page(self, name: str) -> str | None:
        with self.local.store.read() as connection:
            site = Site(connection, day_start_ms(None), now_ms())
            site.frame.is_live = True
            return site.named(name)

    def _bench(self, message: str) -> str:
        with self.local.store.read() as connection:
            site = Site(connection, day_start_ms(None), now_ms())
            site.frame.is_live = True
            values = actions.bench_values(connection, site)
        return site.frame.render(site_map.BENCH.file, (), token=self.local.token, message=message, **values)

    def do_POST(self) -> None:
        """Do an action that this page itself asks for."""
        if not self._host_is_ours() or not self._origin_is_ours():
            return
        form = self._form()
        if form is None:
            return
        if not secrets.compare_digest(form.get("token", [""])[0], self.local.token):
            self._text(
                HTTPStatus.FORBIDDEN,
                "This form is from an earlier start of the program. Load the page again.",
            )
            return
        self._act(urlsplit(self.path).path.lstrip("/"), form)

    def _act(self, name: str, form: Form) -> None:
        try:
            if name == "pull":
                started = self.local.puller.start(form.get("port", [""])[0] or None)
                message = "Pulling." if started else "A pull is under way already."
            elif name in actions.ACTIONS:
                message = actions.do(self.local.store, name, form)
            else:
                self._text(HTTPStatus.NOT_FOUND, "There is no such action.")
                return
            self._send(HTTPStatus.OK, "text/html; charset=utf-8", self._bench(message))
        except CurbtickError as error:
            status = HTTPStatus.BAD_GATEWAY if isinstance(error, LinkError) else HTTPStatus.BAD_REQUEST
            self._send(status, "text/html; charset=utf-8", self._bench(str(error).replace("\n", " ")))

    def _host_is_ours(self) -> bool:
        if self.headers.get("Host") in self.local.hosts:
            return True
        self._text(HTTPStatus.FORBIDDEN, "This page answers to its own address alone.")
        return False

    def _origin_is_ours(self) -> bool:
        if self.headers.get("Origin") in [f"http://{host}" for host in self.local.hosts]:
            return True
        self._text(HTTPStatus.FORBIDDEN, "Changes are taken from this page itself alone.")
        return False

    def _form(self) -> Form | None:
        length = self.headers.get("Content-Length", "")
        if not length.isdigit() or int(length) > BODY_MAX:
            self._text(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "The form is too long.")
            return None
        return parse_qs(self.rfile.read(int(length)).decode("utf-8", "replace"), keep_blank_values=True)

    def _text(self, status: HTTPStatus, words: str) -> None:
        self._send(status, "text/plain; charset=utf-8", words)

    def _send(self, status: HTTPStatus, kind: str, body: str) -> None:
        data = body.encode()
        self.send_response(status)
        for name, value in (
            ("Content-Type", kind),
            ("Content-Length", str(len(data))),
            ("Content-Security-Policy", POLICY),
            ("X-Content-Type-Options", "nosniff"),
            ("Referrer-Policy", "same-origin"),
            ("Cache-Control", "no-store"),
        ):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(data)


def serve(store: Store, number: int = 0) -> LocalServer:
    """Make the server on a port number of the loopback address; 0 takes a free one. Raises LinkError when
    it is taken.
    """
    try:
        return LocalServer(store, number)
    except OSError as error:
        raise LinkError(
            f"Port number {number} of this computer cannot be used: {error.strerror}.",
            "Nothing was changed.",
            "Name another with --number, or 0 for a free one.",
        ) from error
