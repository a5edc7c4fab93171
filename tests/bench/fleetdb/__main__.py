"""Many benches, one history: eight benches pulling overlapping probes into one PostgreSQL, through faults.

python -m tests.bench.fleetdb --json [--seed N] [--short] [--ten-million]

1. Faults: connections cut, benches killed, the server crashed in the middle of transactions; then every record of
   every probe's log is looked for. Bounds: none lost, none doubled.
2. Rate: the same benches without faults into a fresh history, each probe by its two benches; and, beside it, the
   same logs into a SQLite file by one bench, both engines committing to disk.
3. Report: the day's report from the server and from the file, at a tenth of the days before it, at all of them, and
   with --ten-million at ten times as many: nine older copies of every record, made by each engine itself, for
   ten times the pulling would show nothing that the rate does not. Reported with the ratios; no bound is set on them.
   Every timing is the best of several, taken by turns.
4. Memory: peak of a process that builds the report from the server, at a tenth and at all.
5. Disk for each reading, and what a national fleet would take (`growth` says how it is worked out).

998,720 readings and 2,512 anchors, a million records, in the full form; 6,720 readings in the short one. Needs
PostgreSQL (CURBTICK_POSTGRES_BIN names its folder where it is not found).
"""

import dataclasses
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from curbtick.fleet.work import findings
from curbtick.report import build
from curbtick.store import tables
from curbtick.store.history import Store
from sqlalchemy import Table, text

from tests.bench._common import arguments, figure, peak_mb, report
from tests.bench.fleetdb import growth
from tests.bench.history.made import A_DAY, DEPOT, add_fleet, by_turns
from tests.bench.history.made import DAY_MS as A_DAY_MS
from tests.pair.postgres import server as postgres
from tests.pair.postgres.fleet_benches import DAY_MS, Day, Fleet, Found, judge, pull_all

BENCHES, PROBES = 8, 16
# Days of work before the day that is reported; that day has as many readings in every history.
REPORTED = 20
DAYS, SHORT_DAYS = 156, 1
SEQS_APART = 1_000_000


def readings_of(days: int) -> int:
    """Readings of each probe in whole days and the reported one."""
    return days * A_DAY + REPORTED


def faulty(server: postgres.Server, fleet: Fleet, rest_s: float) -> tuple[Found, dict[str, float]]:
    """The day with faults: what the history has afterwards, and what was done to it."""
    url = server.new_history()
    faults = Day(server, url, fleet, rest_s).run()
    return judge(url, fleet), dataclasses.asdict(faults)


def server_rate(server: postgres.Server, fleet: Fleet) -> tuple[str, float]:
    """A history filled without faults, and its records per second, each counted once, between the first pull's
    beginning and the last one's: starting eight processes is not the server's work.
    """
    url = server.new_history()
    with Store(url) as store:
        add_fleet(store, DEPOT, [fleet.id_of(probe) for probe in range(fleet.probes)])
    Day(server, url, fleet, None).run()
    with Store(url) as store, store.read() as connection:
        span_ms = connection.scalar(text("SELECT max(at_ms) - min(at_ms) FROM pulls"))
    return url, judge(url, fleet).records * 1000 / max(int(span_ms), 1)


def file_rate(path: Path, fleet: Fleet) -> float:
    """The same logs into a file by one bench, its records per second."""
    with Store(path) as store:
        add_fleet(store, DEPOT, [fleet.id_of(probe) for probe in range(fleet.probes)])
    begun_s = time.monotonic()
    pull_all(str(path), dataclasses.replace(fleet, benches=1), 0)
    return fleet.probes * fleet.readings / (time.monotonic() - begun_s)


def bytes_per_reading(url: str) -> float:
    """Disk of log, readings and their indexes for each reading."""
    query = "SELECT pg_total_relation_size('log') + pg_total_relation_size('readings')"
    with Store(url) as store, store.read() as connection:
        whole = connection.scalar(text(query))
        return float(whole) / int(connection.scalar(text("SELECT count(*) FROM readings")))


def memory_mb(where: str, out: Path) -> float:
    """Peak memory of a process of its own that builds the report."""
    command = [sys.executable, "-m", "tests.bench.fleetdb", "--measure-memory", where, str(out)]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()[-1])


def build_report(where: str, out: Path) -> None:
    """The day's whole report."""
    with Store(where) as store:
        build(store, out, DAY_MS, DAY_MS + A_DAY_MS)


def measure(url: str, path: Path, out: Path, rounds: int) -> dict[str, Any]:
    """Report seconds and memory of the same history on both engines."""
    for where in (url, str(path)):
        with Store(where) as store, store.write() as connection:
            findings.refresh(connection)
    server_s, file_s = by_turns(
        [lambda: build_report(url, out), lambda: build_report(str(path), out)], rounds
    )
    with Store(url) as store, store.read() as connection:
        readings = int(connection.scalar(text("SELECT count(*) FROM readings")))
    return {
        "readings": readings,
        "server_report_s": round(server_s, 2),
        "sqlite_report_s": round(file_s, 2),
        "report_ratio": round(server_s / file_s, 2),
        "server_bytes_per_reading": round(bytes_per_reading(url)),
        "server_report_memory_mb": round(memory_mb(url, out), 1),
    }


def fill_both(server: postgres.Server, path: Path, fleet: Fleet) -> tuple[str, dict[str, float]]:
    """The server's history and a file of the same logs, and how fast each took them."""
    url, server_per_s = server_rate(server, fleet)
    file_per_s = file_rate(path, fleet)
    ratio = round(server_per_s / file_per_s, 3)
    return url, {
        "server_ingest_per_s": round(server_per_s),
        "sqlite_ingest_per_s": round(file_per_s),
        "ingest_ratio": ratio,
    }


def grow(where: str, days: int) -> None:
    """Give a history nine older copies of every record, days apart, each with numbers and boots of its own."""
    with Store(where) as store:
        for copy in range(1, 10):
            with store.write() as connection:
                for table in (tables.boots, tables.log, tables.readings, tables.events):
                    connection.execute(text(_older(table, copy, days)))
        with store.write() as connection:
            connection.execute(text("ANALYZE"))


def _older(table: Table, copy: int, days: int) -> str:
    """Statement that copies the rows of the days as pulled, which are those with the lowest boots."""
    moved = {
        "seq": f"seq + {copy * SEQS_APART}",
        "boot": f"boot + {copy * days}",
        **{name: f"{name} - {copy * days * A_DAY_MS}" for name in ("time_ms", "sort_ms", "offset_ms")},
    }
    columns = [column.name for column in table.columns if column.name != "id"]
    values = ", ".join(moved.get(name, name) for name in columns)
    return f"INSERT INTO {table.name} ({', '.join(columns)}) SELECT {values} FROM {table.name} WHERE boot <= {days}"


def main() -> None:
    hidden = ("--measure-memory", {"nargs": 2, "metavar": ("DB", "OUT")})
    more = ("--ten-million", {"action": "store_true", "help": "also at ten times the readings"})
    wanted = arguments("Many benches, one history.", more, hidden)
    if wanted.measure_memory:
        build_report(wanted.measure_memory[0], Path(wanted.measure_memory[1]))
        print(peak_mb())
        return
    days = SHORT_DAYS if wanted.short else DAYS
    each = readings_of(days)
    fleet = Fleet(BENCHES, PROBES, each, wanted.seed, batch=50 if wanted.short else 1000)
    tenth = dataclasses.replace(fleet, readings=readings_of(days // 10))
    with postgres.running() as server, tempfile.TemporaryDirectory() as name:
        found, faults = faulty(server, fleet, rest_s=4.0 if wanted.short else 20.0)
        rounds = 2 if wanted.short else 3
        measured, out = [], Path(name) / "out"
        for size in (tenth, fleet):
            path = Path(name) / f"{size.readings}.db"
            url, rates = fill_both(server, path, size)
            measured.append({**measure(url, path, out, rounds), **rates})
        if wanted.ten_million:
            for where in (url, str(path)):
                grow(where, days + 1)
            measured.append(measure(url, path, out, rounds))
    rate = measured[1]["server_ingest_per_s"]
    largest = measured[-1]
    grown = [after["server_report_s"] / measured[0]["server_report_s"] for after in measured]
    report(
        [
            figure("lost", found.lost, "= 0", found.lost == 0),
            figure("doubled", found.doubled, "= 0", found.doubled == 0),
            figure("cuts", faults["cuts"], ">= 1", faults["cuts"] >= 1),
            figure("benches_killed", faults["kills"], ">= 1", faults["kills"] >= 1),
            figure("server_crashes", faults["crashes"], ">= 1", faults["crashes"] >= 1),
            figure("pulled_twice", found.doubled_pulls, ">= 1", found.doubled_pulls >= 1),
        ],
        wanted,
        benchmark="fleetdb",
        benches=BENCHES,
        probes=PROBES,
        records=found.records,
        faults=faults,
        measured=measured,
        national=growth.national(largest["server_bytes_per_reading"], rate),
        report_time_growth=[round(ratio, 2) for ratio in grown],
    )


if __name__ == "__main__":
    main()
