"""A hostile browser at the local page: every request ends in an answer, and nothing changes without the token.

`python -m tests.bench.evilpage --json [--seed N] [--short]`. `curbtick open` runs as a process of its own over an
invented depot. Requests are written byte by byte to its socket, without a library that would mend them: paths, methods,
hosts, origins, headers, forms, sizes, bodies that break off or crawl, some at the same time. In a second part they
carry the right token and senseless values, as a page of an older version would. Bounds: an answer to every request, no
answer 500, no word of a traceback in any answer or on the program's outputs, the history's rows unchanged by whatever
lacks the token, memory flat.
"""

import random
import re
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
import urllib.parse
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from tests.bench import _common
from tests.unit.bench.report.reportdata import Depot

REQUESTS, REQUESTS_SHORT = 3_000, 1_000
WITH_TOKEN_SHARE = 0.3
AT_ONCE = 6
WARM = 100
REAL = "from curbtick.commands.start import main; main()"
# The server waits ten seconds for a form; an answer after this is none.
ANSWER_WITHIN_S = 20.0
MEMORY_GROWTH_MB = 40.0
TRACES = (b"Traceback", b'File "', b"sqlalchemy", b"Error:")
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


class Answer(NamedTuple):
    """What came back: status (0: closed without a word, -1: none in time), body, seconds."""

    status: int
    body: bytes
    seconds: float


class Sent(NamedTuple):
    """A request: its bytes, and seconds to wait in the middle of them."""

    data: bytes
    pause_s: float = 0.0


class Outcome(NamedTuple):
    """Every answer; whether a row changed that must not; growth of memory in MB; whether the page still answers."""

    answers: list[Answer]
    changed: bool
    growth_mb: float
    alive: bool


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


def ask(number: int, sent: Sent) -> Answer:
    """Send one request and read its answer to the end of the connection."""
    began_s = time.monotonic()
    body = b""
    try:
        with socket.create_connection(("127.0.0.1", number), timeout=ANSWER_WITHIN_S) as wire:
            middle = len(sent.data) // 2 if sent.pause_s else len(sent.data)
            wire.sendall(sent.data[:middle])
            time.sleep(sent.pause_s)
            wire.sendall(sent.data[middle:])
            while piece := wire.recv(65536):
                body += piece
    except TimeoutError:
        return Answer(-1, body, time.monotonic() - began_s)
    except OSError:
        pass  # closed while more was sent: whatever was answered before counts
    found = re.match(rb"HTTP/1\.\d (\d{3})", body)
    return Answer(int(found[1]) if found else 0, body, time.monotonic() - began_s)


def rows(path: Path) -> str:
    """Everything in a history, as text."""
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        return "\n".join(connection.iterdump())


def memory_mb(pid: int) -> float:
    """Resident memory of a process, in MB (Linux)."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii", errors="replace")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS:")).split()[1]) / 1024


def asked(number: int, requests: Iterator[Sent]) -> list[Answer]:
    """Ask several at a time."""
    with ThreadPoolExecutor(AT_ONCE) as pool:
        return list(pool.map(lambda sent: ask(number, sent), requests))


def attack(
    rng: random.Random, count: int, path: Path, program: "subprocess.Popen[str]", said: str
) -> Outcome:
    """Ask `count` requests of the page that the program serves from a history."""
    number = int(re.findall(r":(\d+)/", said)[0])
    plain = Sent(
        f"GET /bench.html HTTP/1.1\r\nHost: 127.0.0.1:{number}\r\nConnection: close\r\n\r\n".encode()
    )
    token = re.findall(rb'name="token" value="([^"]+)"', ask(number, plain).body)[0].decode()
    attacker = Attacker(rng, number, token)
    with_count = int(count * WITH_TOKEN_SHARE)
    warm = asked(number, (attacker.without_token() for _ in range(WARM)))
    memory, before = memory_mb(program.pid), rows(path)
    bare = asked(number, (attacker.without_token() for _ in range(count - with_count - WARM)))
    changed = rows(path) != before
    signed = asked(number, (attacker.with_token() for _ in range(with_count)))
    growth = memory_mb(program.pid) - memory
    alive = program.poll() is None and ask(number, plain).status == 200
    return Outcome([*warm, *bare, *signed], changed, growth, alive)


def main() -> None:
    """Run the attack and print its figures."""
    options = _common.arguments(str(__doc__).splitlines()[0])
    count = REQUESTS_SHORT if options.short else REQUESTS
    with tempfile.TemporaryDirectory() as folder:
        depot = Depot(Path(folder), int(time.time() * 1000))
        depot.store.close()
        program = subprocess.Popen(
            [sys.executable, "-c", REAL, "open", "--no-browser", "--db", str(depot.path)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        assert program.stdout is not None
        said = program.stdout.readline()
        try:
            outcome = attack(random.Random(options.seed), count, depot.path, program, said)
        finally:
            program.kill()
        words = program.communicate(timeout=20)[0].encode()
    _common.report(figures(outcome, words), options, requests=count, statuses=statuses(outcome.answers))


def statuses(answers: list[Answer]) -> dict[str, int]:
    """How many answers had each status."""
    return {str(status): count for status, count in sorted(Counter(a.status for a in answers).items())}


def figures(outcome: Outcome, words: bytes) -> list[dict[str, Any]]:
    """What the attack showed. words: what the program printed meanwhile."""
    answers = outcome.answers
    unanswered = sum(a.status <= 0 for a in answers)
    failed = sum(a.status == 500 for a in answers)
    traced = sum(any(trace in text for trace in TRACES) for text in (words, *(a.body for a in answers)))
    return [
        _common.figure("unanswered", unanswered, "== 0", unanswered == 0),
        _common.figure("answered_500", failed, "== 0", failed == 0),
        _common.figure("with_traceback", traced, "== 0", traced == 0),
        _common.figure("changed_without_token", int(outcome.changed), "== 0", not outcome.changed),
        _common.figure("alive_afterwards", int(outcome.alive), "== 1", outcome.alive),
        _common.figure(
            "memory_growth_mb",
            round(outcome.growth_mb, 1),
            f"<= {MEMORY_GROWTH_MB}",
            outcome.growth_mb <= MEMORY_GROWTH_MB,
        ),
    ]


if __name__ == "__main__":
    main()
