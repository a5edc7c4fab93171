"""Many benches pulling overlapping probes into one server while connections are cut, benches killed, the server
crashed; and what must hold afterwards.

A probe's log is a function of its number, so a killed bench's successor finds the same log, as on a real
probe. Each log is pulled by two benches at once. A bench asks where the history stands, goes back a little,
as one that missed an acknowledgement would, and sends batch by batch until all is stored.
"""

import hashlib
import multiprocessing
import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from multiprocessing.process import BaseProcess

from curbtick.errors import StoreError
from curbtick.store import tables
from curbtick.store.history import Store
from sqlalchemy import Connection, Table, func, select

from tests.bench.history.made import Maker
from tests.pair.postgres.cutter import Cutter
from tests.pair.postgres.server import Server

DAY_MS = 1_795_478_400_000
BACK = 150
_CONTEXT = multiprocessing.get_context("spawn")


@dataclass(frozen=True)
class Fleet:
    """benches pull probes of readings each; batch: the most records in a transaction."""

    benches: int
    probes: int
    readings: int
    seed: int
    batch: int = 400

    def id_of(self, probe: int) -> str:
        return f"e660{self.seed & 0xFFFF:04x}{probe:08x}"

    def log_of(self, probe: int) -> list[bytes]:
        maker = Maker(self.readings, 30, self.seed * 1000 + probe, DAY_MS)
        return [raw for batch in maker.batches() for raw in batch]

    def probes_of(self, bench: int) -> list[int]:
        """Every probe has two benches, of which each begins elsewhere."""
        mine = [p for p in range(self.probes) if bench in (p % self.benches, (p + 1) % self.benches)]
        return sorted(mine, key=lambda p: (p % self.benches != bench, p))


def pull_all(url: str, fleet: Fleet, bench: int) -> None:
    """One bench's day: every probe of it, whatever happens on the way."""
    for probe in fleet.probes_of(bench):
        log = fleet.log_of(probe)
        while not _pulled(url, fleet, bench, probe, log):
            time.sleep(0.2)


def _pulled(url: str, fleet: Fleet, bench: int, probe: int, log: Sequence[bytes]) -> bool:
    try:
        with Store(url, busy_timeout_s=60) as store:
            stored = store.stored_to(fleet.id_of(probe))
            for first in range(max(stored - BACK, 0), len(log), fleet.batch):
                batch = log[first : first + fleet.batch]
                covered = (first + 1, first + len(batch))
                store.ingest(fleet.id_of(probe), batch, covered=covered, bench=f"bench {bench}")
    except StoreError as error:
        if "differs" in error.what or "refused a change" in error.what:
            raise
        return False
    return True


@dataclass
class Faults:
    """What was done to the benches and the server, and how long the benches took."""

    cuts: int = 0
    connections_cut: int = 0
    kills: int = 0
    crashes: int = 0
    seconds: float = 0.0


class Day:
    """Runs the benches of a fleet to the end. rest_s: mean time between two faults; None for no faults."""

    def __init__(self, server: Server, url: str, fleet: Fleet, rest_s: float | None) -> None:
        self._server, self._fleet, self._rest_s = server, fleet, rest_s
        self._cutter = Cutter(server.port)
        self._url = url.replace(f":{server.port}/", f":{self._cutter.port}/")
        self._random = random.Random(fleet.seed)
        self._running: dict[int, BaseProcess] = {}
        self.faults = Faults()

    def run(self) -> Faults:
        """Returns what was done; raises RuntimeError if a bench gave up."""
        begun_s = time.monotonic()
        try:
            for bench in range(self._fleet.benches):
                self._start(bench)
            faults = self._deeds()
            while self._still_running():
                if self._rest_s is not None:
                    time.sleep(self._random.uniform(0.5, 1.5) * self._rest_s)
                    next(faults)
                else:
                    time.sleep(0.02)
        finally:
            for process in self._running.values():
                process.kill()
            self._cutter.close()
        self.faults.seconds = time.monotonic() - begun_s
        return self.faults

    def _start(self, bench: int) -> None:
        process = _CONTEXT.Process(target=pull_all, args=(self._url, self._fleet, bench))
        process.start()
        self._running[bench] = process

    def _still_running(self) -> bool:
        for bench, process in list(self._running.items()):
            if process.exitcode is not None:
                del self._running[bench]
                if process.exitcode:
                    raise RuntimeError(f"bench {bench} gave up with exit code {process.exitcode}")
        return bool(self._running)

    def _deeds(self) -> Iterator[None]:
        """One fault after another, in a fixed order so that a short run has each."""
        while True:
            self.faults.connections_cut += self._cutter.cut()
            self.faults.cuts += 1
            yield
            self._server.restart()
            self.faults.crashes += 1
            yield
            self._kill_one()
            yield
            self.faults.connections_cut += self._cutter.cut()
            self.faults.cuts += 1
            yield

    def _kill_one(self) -> None:
        running = [bench for bench, process in self._running.items() if process.exitcode is None]
        if running:
            bench = self._random.choice(running)
            self._running[bench].kill()
            self._running[bench].join()
            self.faults.kills += 1
            self._start(bench)


@dataclass(frozen=True)
class Found:
    """lost: records of the probes' logs that the history lacks or has otherwise; doubled: rows beyond one each."""

    records: int
    lost: int
    doubled: int
    doubled_pulls: int


def judge(url: str, fleet: Fleet) -> Found:
    """Hold the history against the logs, record by record, and the decoded readings against their number."""
    total = lost = stored = 0
    with Store(url) as store, store.read() as connection:
        for probe in range(fleet.probes):
            log = fleet.log_of(probe)
            total += len(log)
            key = select(tables.probes.c.id).where(tables.probes.c.unique_id == fleet.id_of(probe))
            query = select(tables.log.c.raw).where(tables.log.c.probe_id.in_(key))
            rows = [bytes(row.raw) for row in connection.execute(query)]
            stored += len(rows)
            lost += len(set(map(_hash, log)) - set(map(_hash, rows)))
        readings = _count(connection, tables.readings)
        decoded = readings + _count(connection, tables.events)
        lost += max(fleet.probes * fleet.readings - readings, 0)
        again = connection.scalar(select(func.sum(tables.pulls.c.doubled_count))) or 0
        everything = _count(connection, tables.log)
    doubled = max(stored - total, 0) + max(decoded - total, 0) + (everything - stored)
    return Found(total, lost, doubled, int(again))


def _hash(raw: bytes) -> bytes:
    return hashlib.sha256(raw).digest()


def _count(connection: Connection, table: Table) -> int:
    return int(connection.scalar(select(func.count()).select_from(table)) or 0)
