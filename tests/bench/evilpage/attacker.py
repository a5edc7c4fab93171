"""Requests of a hostile browser, byte by byte: with the page's token, and without."""

import random
import urllib.parse
from typing import NamedTuple

LARGE = "9" * 20
TEXTS = (
    "", "0", "-1", "1", "3", LARGE, "9" * 5000, "\u00b2", "\u0663", "1e3", "0x10", "1_000", " 1 ", "é", "\x00", "%00",
    "../../etc/passwd", "'; drop table readings; --", "<script>alert(1)</script>", "{{ 7*7 }}", "\u202e\u0007",
    "\ud7ff",     "nan", "inf", "None", "a1b2c3-17", "000066-" + LARGE, "x..y", "000066-1..\u00b2",
)  # fmt: skip
ACTIONS = ("work", "swap", "assign", "undo", "pull")
FIELDS = (
    "finding", "step", "by", "note", "vehicle", "bumper", "position_a", "position_b", "reading", "position",
    "assignment", "port",
)  # fmt: skip
PAGES = (
    "index.html",
    "fleet.html",
    "work.html",
    "fading.html",
    "limits.html",
    "probes.html",
    "bench.html",
    "progress.json",
)
METHODS = ("GET", "POST", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "HEAD", "BREW", "get")


class Sent(NamedTuple):
    """A request: its bytes, and seconds to wait in the middle of them."""

    data: bytes
    pause_s: float = 0.0


class Attacker:
    """Makes requests for the page at a port number. token: of the page, for the requests that carry it."""

    def __init__(self, rng: random.Random, number: int, token: str) -> None:
        self._rng = rng
        self._own = f"127.0.0.1:{number}"
        self._token = token

    def without_token(self) -> Sent:
        """A request that must change nothing."""
        return self._rng.choice(
            (self._page, self._wrong_token, self._odd_head, self._odd_body, self._noise)
        )()

    def with_token(self) -> Sent:
        """A form as the page sends it, with senseless values; never a pull, which would look for real ports."""
        action = self._rng.choice(ACTIONS[:-1])
        chosen = self._rng.sample(FIELDS, self._rng.randrange(len(FIELDS)))
        return self._form(action, {"token": self._token, **{name: self._text() for name in chosen}})

    def _text(self) -> str:
        return self._rng.choice(TEXTS)

    def _path(self) -> str:
        text = self._text()
        shapes = (
            self._rng.choice(PAGES), f"vehicle-{text}.html", f"reading-{text}.html", f"reading-000066-{text}.html",
            text, f"{text}/{text}", f"?{text}", f"work?{text}", f"bench.html?token={text}", f"static/{text}",
        )  # fmt: skip
        return "/" + urllib.parse.quote(self._rng.choice(shapes), safe="/?=.-")

    def _head(
        self, method: str, path: str, *more: str, host: str | None = None, origin: str | None = None
    ) -> bytes:
        lines = [
            f"{method} {path} HTTP/1.1",
            f"Host: {host or self._own}",
            f"Origin: {origin or f'http://{self._own}'}",
        ]
        return "\r\n".join([*lines, "Connection: close", *more, "", ""]).encode("utf-8", "replace")

    def _form(self, action: str, fields: dict[str, str], **names: str) -> Sent:
        body = urllib.parse.urlencode(fields, errors="replace").encode()
        return Sent(self._head("POST", f"/{action}", f"Content-Length: {len(body)}", **names) + body)

    def _page(self) -> Sent:
        return Sent(self._head(self._rng.choice(METHODS), self._path()))

    def _wrong_token(self) -> Sent:
        values = {name: self._text() for name in FIELDS}
        token = self._rng.choice((*TEXTS, self._token[:-1], self._token.swapcase(), self._token + "x"))
        return self._form(self._rng.choice(ACTIONS), {**values, "token": token})

    def _odd_head(self) -> Sent:
        """The right token from the wrong place."""
        bad = self._rng.choice(
            ("evil.example", "127.0.0.1", f"evil@{self._own}", f"{self._own}.evil.example", "[::1]", "é")
        )
        form = {"token": self._token, "finding": "1", "step": "clean", "vehicle": "1"}
        action = self._rng.choice(ACTIONS)
        if self._rng.random() < 0.5:
            return self._form(action, form, host=bad)
        origin = self._rng.choice(
            ("null", "http://" + bad, f"https://{self._own}", f"http://{self._own}/", f"HTTP://{self._own}")
        )
        return self._form(action, form, origin=origin)

    def _odd_body(self) -> Sent:
        """Lengths that lie, pieces, forms that are too long or have too many fields, one that crawls now and then."""
        rng = self._rng
        wrong = rng.choice(("-1", "1e9", LARGE, "99999999", "\u00b2", "5, 5", ""))
        many = "&".join(f"{n}={n}" for n in range(rng.choice((5, 5000)))).encode()
        if rng.random() < 0.02:
            return Sent(
                self._head("POST", "/work", "Content-Length: 50") + b"token=" + b"x" * 10, pause_s=1.0
            )
        return rng.choice(
            (
                Sent(self._head("POST", "/work", f"Content-Length: {wrong}") + b"token=x"),
                Sent(self._head("POST", "/work", f"Content-Length: {len(many)}") + many),
                Sent(self._head("POST", "/work", "Transfer-Encoding: chunked") + b"5\r\ntoken\r\n0\r\n\r\n"),
                Sent(self._head("POST", "/work", "Transfer-Encoding: chunked") + b"zz\r\ntoken\r\n"),
                Sent(self._head("POST", "/work", "Content-Length: 3", "Content-Length: 7") + b"token=x"),
                Sent(
                    self._head("POST", "/work", "Content-Length: 6", "Content-Type: \xff/x")
                    + b"\xff\x00=\xfe&;"
                ),
            )
        )

    def _noise(self) -> Sent:
        rng = self._rng
        return rng.choice(
            (
                Sent(rng.randbytes(rng.randrange(1, 300)) + b"\r\n\r\n"),
                Sent(b"GET / HTTP/9.9\r\n\r\n"),
                Sent(b"GET /index.html HTTP/1.0\r\n\r\n"),
                Sent(
                    self._head("GET", "/index.html", *(f"X-{n}: {n}" for n in range(rng.choice((10, 3000)))))
                ),
                Sent(self._head("GET", "/" + "a" * rng.choice((2_000, 40_000)))),
                Sent(self._head("GET", "/index.html", "Upgrade: websocket", "Sec-WebSocket-Version: 13")),
                Sent(self._head("GET", "http://evil.example/index.html")),
            )
        )
