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
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from tests.bench import _common
from tests.bench.evilpage.attacker import Attacker, Sent
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


class Answer(NamedTuple):
    """What came back: status (0: closed without a word, -1: none in time), body, seconds."""

    status: int
    body: bytes
    seconds: float


class Outcome(NamedTuple):
    """Every answer; whether a row changed that must not; growth of memory in MB; whether the page still answers."""

    answers: list[Answer]
    changed: bool
    growth_mb: float
    alive: bool


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
