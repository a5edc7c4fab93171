"""How the bench's history holds up: ingest, day's report, vehicle page and memory, at 10,000 and 1,000,000
readings.

python -m tests.bench.history --json [--seed N] [--short]

The two histories are of the same depot of 30 vehicles with 240 sensors, 42 readings a sensor in the short
one and 4,200 in the long one; both end with the same day. A third history, of a fleet of 500 vehicles,
gives the seconds that the aims are about. Bounds: ingest at least half as fast as the same rows by plain
sqlite3.executemany in the same run; the day's report and a vehicle's page at most 1.5 times as long with
the long history as with the short one; peak memory of building the report, and of fitting limits to everything,
at most 1.25 times. Whatever is compared runs by turns, and each counts by its best turn, for what a busy
machine adds is no work of ours.
"""

import argparse
import gc
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from curbtick.dates import day_start_ms
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.work import findings
from curbtick.limits import fit
from curbtick.report import Site, build
from curbtick.store import tables
from curbtick.store.database.engine import WRITER_CACHE_KB, prepare
from curbtick.store.history import Store

from tests.bench._common import arguments, figure, peak_mb, report
from tests.bench.history.made import DAY_MS, DEPOT, FLEET, PROBE, Maker, add_fleet, by_turns, fill

INGEST_LEAST, TIME_MOST, MEMORY_MOST = 0.5, 1.5, 1.25


def rate_kept(laps: Sequence[float]) -> float:
    """Share of its first tenth's rate that ingest still had in its last tenth; the last batch is a part of one."""
    tenth = max(len(laps) // 10, 1)
    return sum(laps[:tenth]) / sum(laps[-tenth - 1 : -1])


Parts = list[tuple[str, list[tuple[Any, ...]]]]


def plain_parts(path: Path, batches: Sequence[Sequence[bytes]]) -> list[Parts]:
    """The rows that ingest made of each batch, by table, with their INSERT statement.

    A batch holds whole numbers in order, so its rows are those of its span.
    """
    made: list[Parts] = []
    with sqlite3.connect(path) as connection:
        first = 1
        for batch in batches:
            parts: Parts = []
            for table in (tables.log, tables.readings, tables.events):
                marks = ", ".join("?" * len(table.columns))
                query = f"SELECT * FROM {table.name} WHERE seq BETWEEN ? AND ?"
                rows = connection.execute(query, (first, first + len(batch) - 1)).fetchall()
                parts.append((f"INSERT INTO {table.name} VALUES ({marks})", rows))
            made.append(parts)
            first += len(batch)
    return made


def plain_file(path: Path) -> sqlite3.Connection:
    """An empty history with the same fleet, opened for plain inserts as the store opens its own."""
    with Store(path) as store:
        add_fleet(store, FLEET)
    connection = sqlite3.connect(path)
    prepare(connection)
    connection.execute(f"PRAGMA cache_size=-{WRITER_CACHE_KB}")
    return connection


def plain_s(connection: sqlite3.Connection, parts: Parts) -> float:
    """Seconds of one batch's rows by sqlite3.executemany, in one transaction."""
    begun_s = time.perf_counter()
    connection.execute("BEGIN IMMEDIATE")
    for statement, rows in parts:
        connection.executemany(statement, rows)
    connection.execute("COMMIT")
    return time.perf_counter() - begun_s


def ingest_s(store: Store, batch: Sequence[bytes], received_ms: int) -> float:
    """Seconds of one batch by the store."""
    begun_s = time.perf_counter()
    store.ingest(PROBE, batch, received_ms=received_ms)
    return time.perf_counter() - begun_s


def ingest_ratio(folder: Path, seed: int, count: int, last_day_ms: int, rounds: int) -> dict[str, float]:
    """Ingest beside plain inserts of the same rows, batch by batch in turn; each counts by the best of its turns.

    The same tables, indexes, foreign keys, durability and page cache: what differs is decoding, matching and
    refusing. The anchors and boots of a batch are a few rows and left out of the plain way.
    """
    batches = list(Maker(count, FLEET, seed, last_day_ms).batches())
    fill(folder / "rows.db", count, FLEET, seed, last_day_ms)
    parts = plain_parts(folder / "rows.db", batches)
    ours: list[list[float]] = []
    plain: list[list[float]] = []
    # What the run keeps for comparing is no burden of either way.
    gc.collect()
    gc.freeze()
    for turn in range(rounds):
        connection = plain_file(folder / f"plain{turn}.db")
        with Store(folder / f"ours{turn}.db") as store:
            add_fleet(store, FLEET)
            laps = [
                (ingest_s(store, batch, last_day_ms + DAY_MS), plain_s(connection, rows))
                for batch, rows in zip(batches, parts, strict=True)
            ]
        connection.close()
        ours.append([lap[0] for lap in laps])
        plain.append([lap[1] for lap in laps])
    ours_s, plain_all_s = (sum(map(min, zip(*turns, strict=True))) for turns in (ours, plain))
    turns = [sum(theirs) / sum(mine) for theirs, mine in zip(plain, ours, strict=True)]
    return {
        "ingest_per_s": count / ours_s,
        "executemany_per_s": count / plain_all_s,
        "ratio": plain_all_s / ours_s,
        "lowest_turn": min(turns),
        "highest_turn": max(turns),
    }


def build_report(path: Path, out: Path, day_ms: int) -> None:
    """Build the day's whole report."""
    with Store(path) as store:
        build(store, out, day_ms, day_ms + DAY_MS)


def vehicle_page(path: Path, day_ms: int) -> str:
    """One vehicle's page."""
    with Store(path) as store, store.read() as connection:
        made = Site(connection, day_ms, day_ms + DAY_MS).named("vehicle-7.html")
    assert made is not None
    return made


def refresh(path: Path) -> None:
    """Bring the work list up to date, as after a pull."""
    with Store(path) as store, store.write() as connection:
        findings.refresh(connection)
        state.of_vehicles(connection, vehicles.load(connection))


def fit_fleet(path: Path) -> None:
    """Fit limits to every reading of a history."""
    with Store(path) as store, store.read() as connection:
        fit.of_fleet(connection, 0, 0.01)


def memory_mb(path: Path, out: Path, day_ms: int, what: str) -> float:
    """Peak memory of a process of its own that builds the report or fits the limits."""
    words = ["--measure-memory", str(path), str(out), str(day_ms), what]
    command = [sys.executable, "-m", "tests.bench.history", *words]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()[-1])


def run(seed: int, short: bool) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Every figure beside its bound, and what else was measured."""
    small, large, wide, rounds = (10_000, 60_000, 20_000, 3) if short else (10_000, 1_000_000, 200_000, 7)
    day_ms = day_start_ms("2026-11-23")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ingest = ingest_ratio(folder, seed, 20_000, day_ms, 4 if short else 8)
        small_db, large_db, wide_db = folder / "small.db", folder / "large.db", folder / "wide.db"
        fill(small_db, small, DEPOT, seed, day_ms)
        laps = fill(large_db, large, DEPOT, seed, day_ms)
        fill(wide_db, wide, FLEET, seed, day_ms)
        both = (small_db, large_db)
        for path in (*both, wide_db):
            refresh(path)
        reports = by_turns([lambda p=path: build_report(p, folder / "out", day_ms) for path in both], rounds)
        pages = by_turns([lambda p=path: vehicle_page(p, day_ms) for path in both], 15 * rounds)
        memory, fit_memory = (
            [memory_mb(path, folder / "out", day_ms, what) for path in both] for what in ("report", "fit")
        )
        wide_s = by_turns(
            [lambda: build_report(wide_db, folder / "wide", day_ms), lambda: vehicle_page(wide_db, day_ms)], 3
        )
    figures = [
        _at_least("ingest_ratio", ingest["ratio"], INGEST_LEAST),
        _at_most("report_time_ratio", reports[1] / reports[0], TIME_MOST),
        _at_most("vehicle_page_time_ratio", pages[1] / pages[0], TIME_MOST),
        _at_most("report_memory_ratio", memory[1] / memory[0], MEMORY_MOST),
        _at_most("fit_memory_ratio", fit_memory[1] / fit_memory[0], MEMORY_MOST),
    ]
    return figures, {
        "readings": [small, large],
        "vehicles": DEPOT,
        "ingest_ratio_by_turn": [round(ingest["lowest_turn"], 3), round(ingest["highest_turn"], 3)],
        "ingest_per_s": round(ingest["ingest_per_s"]),
        "executemany_per_s": round(ingest["executemany_per_s"]),
        "large_ingest_s": round(sum(laps), 1),
        "large_ingest_rate_kept": round(rate_kept(laps), 2),
        "report_s": [round(s, 2) for s in reports],
        "vehicle_page_s": [round(s, 3) for s in pages],
        "report_memory_mb": [round(m) for m in memory],
        "fit_memory_mb": [round(m) for m in fit_memory],
        "fleet": {
            "vehicles": FLEET,
            "readings": wide,
            "report_s": round(wide_s[0], 2),
            "report_aim_s": 10,
            "vehicle_page_s": round(wide_s[1], 3),
            "vehicle_page_aim_s": 1,
        },
    }


def _at_least(name: str, value: float, bound: float) -> dict[str, Any]:
    return figure(name, round(value, 3), f">= {bound}", value >= bound)


def _at_most(name: str, value: float, bound: float) -> dict[str, Any]:
    return figure(name, round(value, 3), f"<= {bound}", value <= bound)


def main() -> None:
    """Measure, and print the figures; or, for a process of its own, the memory that one step takes."""
    hidden = {"nargs": 4, "metavar": ("DB", "OUT", "DAY_MS", "WHAT"), "help": argparse.SUPPRESS}
    options = arguments(__doc__ or "", ("--measure-memory", hidden))
    if options.measure_memory:
        path, out, day_ms, what = options.measure_memory
        if what == "fit":
            fit_fleet(Path(path))
        else:
            build_report(Path(path), Path(out), int(day_ms))
        print(peak_mb())
        return
    figures, more = run(options.seed, options.short)
    report(figures, options, **more)


if __name__ == "__main__":
    main()
