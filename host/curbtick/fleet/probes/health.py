"""Probe health: a daily check against a reference sensor, and drift against the probe's own history.

A reference sensor is a vehicle marked as such. A probe is overdue when its last reference reading is older
than a day of work, and drifted when its newest ones lie off the median of its earlier ones by more than
they ever scatter.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median
from typing import Any

from curbtick_wire import messages, names, records, texts
from sqlalchemy import Connection, func, select

from curbtick.dates import DAY_MS
from curbtick.fleet import readings, vehicles
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.limits import robust
from curbtick.store import runs, tables
from curbtick.store.decode import tail_of

OVERDUE_DAYS = 1.5
DRIFT_MIN_DB = 1.0
SCATTER_FACTOR = 3.0
BASELINE_MIN = 5
NEWEST = 3
KEPT = 60
CRASHES_SHOWN = 20


@dataclass(frozen=True)
class Health:
    """A probe's state.

    probe_id: key of this life of its log.
    stored: the ranges of records that the history has.
    unanchored_boots: starts whose time is not known.
    references: its readings of the reference sensors, oldest first.
    drift_db: newest reference level minus the probe's own baseline, None where the data are too few.
    scatter_db: robust standard deviation of that baseline, None likewise.
    self_test_ms: when it last tested itself, None for never.
    battery_mv: by its newest reading.
    crashes: the newest times that it stopped of itself, a phrase each, newest first.
    flags: what speaks against trusting it, a phrase each.
    """

    probe_id: int
    name: str
    unique_id: str
    life: int
    depot: str | None
    last_pull_ms: int | None
    stored: Sequence[runs.Run]
    unanchored_boots: int
    references: Sequence[Reading]
    drift_db: float | None
    scatter_db: float | None
    self_test_ms: int | None
    self_test_failed: bool
    battery_mv: int | None
    crashes: Sequence[str]
    flags: Sequence[str]


def of_probes(connection: Connection, now_ms: int) -> list[Health]:
    """Health of every probe, by name."""
    keys = connection.execute(select(tables.vehicles.c.id).where(tables.vehicles.c.is_reference)).scalars()
    references = vehicles.load(connection, list(keys))
    rows = connection.execute(select(tables.probes).order_by(tables.probes.c.name)).all()
    checks = _reference_readings(connection, references, KEPT * len(rows))
    return [_of_probe(connection, row, now_ms, checks.get(row.id, []), bool(references)) for row in rows]


def _of_probe(
    connection: Connection, probe: Any, now_ms: int, checks: Sequence[Reading], has_reference: bool
) -> Health:
    drift_db, scatter_db = drift([check.level_db for check in checks if check.level_db is not None])
    test = _last_self_test(connection, probe.id)
    return Health(
        probe_id=probe.id,
        name=probe.name,
        unique_id=probe.unique_id,
        life=probe.life,
        depot=probe.depot,
        last_pull_ms=_last_pull_ms(connection, probe.id),
        stored=runs.of(connection, probe.id),
        unanchored_boots=_unanchored(connection, probe.id),
        references=checks,
        drift_db=drift_db,
        scatter_db=scatter_db,
        self_test_ms=None if test is None else test[0],
        self_test_failed=test is not None and test[1],
        battery_mv=_battery_mv(connection, probe.id),
        crashes=crashes_in_words(connection, probe.id),
        flags=_flags(checks, drift_db, scatter_db, test, now_ms, has_reference),
    )


def _flags(
    checks: Sequence[Reading],
    drift_db: float | None,
    scatter_db: float | None,
    test: tuple[int, bool] | None,
    now_ms: int,
    has_reference: bool,
) -> list[str]:
    flags: list[str] = []
    if has_reference and not checks:
        flags.append("was never checked against the reference sensor")
    elif checks and now_ms - checks[-1].sort_ms > OVERDUE_DAYS * DAY_MS:
        days = (now_ms - checks[-1].sort_ms) / DAY_MS
        flags.append(
            f"is overdue for its check against the reference sensor: the last was {days:.0f} days ago"
        )
    if has_drifted(drift_db, scatter_db):
        flags.append(f"has drifted by {drift_db:+.1f} dB against its own history")
    if test is not None and test[1]:
        flags.append("failed its last self-test")
    return flags


def drift(levels_db: Sequence[float]) -> tuple[float | None, float | None]:
    """(drift, scatter) in dB: median of the newest NEWEST levels minus that of the earlier, and their
    robust sigma.
    """
    if len(levels_db) < BASELINE_MIN + NEWEST:
        return None, None
    baseline = levels_db[:-NEWEST]
    return median(levels_db[-NEWEST:]) - median(baseline), robust.mad_sigma(baseline)


def has_drifted(drift_db: float | None, scatter_db: float | None) -> bool:
    """Whether a drift is more than DRIFT_MIN_DB and more than the probe's own scatter explains."""
    if drift_db is None or scatter_db is None:
        return False
    return abs(drift_db) > max(DRIFT_MIN_DB, SCATTER_FACTOR * scatter_db / sqrt(NEWEST))


def _reference_readings(
    connection: Connection, references: Sequence[Vehicle], newest: int
) -> dict[int, list[Reading]]:
    """Readings of the reference sensors by probe, oldest first; found by place, so a long history costs no more."""
    by_probe: dict[int, list[Reading]] = {}
    for vehicle in references:
        for bumper, position in vehicle.places:
            for reading in readings.of_place(connection, vehicle.id, bumper, position, newest):
                by_probe.setdefault(reading.probe_id, []).append(reading)
    return {key: sorted(checks, key=lambda r: (r.sort_ms, r.id))[-KEPT:] for key, checks in by_probe.items()}


def _last_pull_ms(connection: Connection, key: int) -> int | None:
    columns = tables.pulls.c
    last_ms: int | None = connection.scalar(select(func.max(columns.at_ms)).where(columns.probe_id == key))
    return last_ms


def _unanchored(connection: Connection, key: int) -> int:
    columns = tables.boots.c
    query = select(func.count()).select_from(tables.boots)
    return connection.scalar(query.where(columns.probe_id == key, columns.offset_ms.is_(None))) or 0


def _last_self_test(connection: Connection, key: int) -> tuple[int, bool] | None:
    columns = tables.self_tests.c
    query = select(columns.sort_ms, columns.failed).where(columns.probe_id == key)
    row = connection.execute(query.order_by(columns.seq.desc()).limit(1)).one_or_none()
    return None if row is None else (row.sort_ms, bool(row.failed))


def _battery_mv(connection: Connection, key: int) -> int | None:
    columns = tables.readings.c
    query = select(columns.battery_mv).where(columns.probe_id == key)
    return connection.scalar(query.order_by(columns.seq.desc()).limit(1))


def gaps_in_words(connection: Connection, key: int) -> list[str]:
    """Ranges of records that the probe says it lost or dropped, newest first."""
    columns = tables.events.c
    lost = [names.EVENTS.index(word) for word in ("gap", "snippets_dropped", "log_full")]
    query = select(columns.event, columns.value, columns.extra, columns.seq).where(
        columns.probe_id == key, columns.event.in_(lost)
    )
    rows = connection.execute(query.order_by(columns.seq.desc()).limit(20))
    return [f"{names.EVENTS[row.event].replace('_', ' ')}: {row.value} to {row.extra}" for row in rows]


def crashes_in_words(connection: Connection, key: int) -> list[str]:
    """The newest crashes of a probe: in which start, why and where; newest first."""
    columns, log = tables.crashes.c, tables.log.c
    query = select(columns.crash_boot, columns.cause, log.raw).where(
        columns.probe_id == key, log.probe_id == key, log.seq == columns.seq, log.boot == columns.boot
    )
    rows = connection.execute(query.order_by(columns.seq.desc()).limit(CRASHES_SHOWN))
    return [_crash_words(row.crash_boot, row.cause, bytes(row.raw)) for row in rows]


def _crash_words(boot: int, cause: int, raw: bytes) -> str:
    word = names.CRASHES[cause] if cause < len(names.CRASHES) else names.CRASHES[0]
    where = messages.field_text(tail_of(raw, records.CRASH))
    start = f"start {boot}" if boot else "a start not known"
    return f"{start}: {texts.CRASHES[word]}" + (f" ({where})" if where else "")
