"""What the site asks of the history itself: bumper results, the origins of limit sets, readings without a date."""

from collections.abc import Sequence

from sqlalchemy import Connection, func, select

from curbtick.dates import DAY_MS, date, day_end_ms, day_start_ms
from curbtick.fleet import leaks, readings
from curbtick.fleet.places import results
from curbtick.fleet.readings import Reading
from curbtick.report.pages.limits import Origin
from curbtick.report.views.leaks import LeakViews, leak_views
from curbtick.report.views.places import Stands
from curbtick.store import tables


def standing_of(connection: Connection, of_day: Sequence[Reading]) -> dict[int, Stands]:
    """Verdict and reasons by reading key, where a bumper result named the reading."""
    if not of_day:
        return {}
    columns = tables.bumper_results.c
    # A bumper's result comes after its readings, and within the day.
    low, high = of_day[0].sort_ms, of_day[-1].sort_ms + DAY_MS
    query = select(tables.bumper_results).where(columns.sort_ms.between(low, high))
    by_seq: dict[tuple[int, int], Stands] = {}
    for row in connection.execute(query.order_by(columns.sort_ms, columns.id)):
        result = results.from_row(row)
        by_seq.update({(result.probe_id, seq): stands for seq, stands in result.by_seq.items()})
    return {r.id: by_seq[r.probe_id, r.seq] for r in of_day if (r.probe_id, r.seq) in by_seq}


def day_before_ms(connection: Connection, end_ms: int) -> int | None:
    """Start of the newest day with readings taken before a moment; None where there are none."""
    columns = tables.readings.c
    newest_ms = connection.scalar(select(func.max(columns.sort_ms)).where(columns.sort_ms < end_ms))
    return None if newest_ms is None else day_start_ms(date(newest_ms))


def newest_day_ms(connection: Connection, now_ms: int) -> int:
    """Start of the newest day with readings, as far as the bench's clock has come; today where there are none."""
    found = day_before_ms(connection, now_ms + 1)
    return day_start_ms(None) if found is None else found


def leaks_of_day(connection: Connection, day_ms: int) -> LeakViews:
    """The seal and hiss sections of a day."""
    sections = leaks.sections_between(connection, day_ms, day_end_ms(day_ms))
    known = readings.names_of(connection, [s.vehicle_id for s in sections if s.vehicle_id is not None])
    return leak_views(sections, known)


def limit_origins(connection: Connection) -> dict[int, Origin]:
    """Where every stored limit set comes from, by revision."""
    rows = connection.execute(select(tables.limit_sets))
    origins = {row.revision: Origin(row.origin or "", row.made_ms) for row in rows}
    query = select(tables.sends.c.number, tables.probes.c.name).join(
        tables.probes, tables.probes.c.id == tables.sends.c.probe_id
    )
    for row in connection.execute(query.where(tables.sends.c.what == "limits").distinct()):
        origins.setdefault(row.number, Origin()).probes.append(row.name)
    return origins


def undated_by_probe(connection: Connection) -> dict[int, int]:
    """How many readings have no date, by probe; those of a start that never met a bench stand at its last bound."""
    boot, reading = tables.boots.c, tables.readings.c
    # By time, not by probe: a probe's readings may be a million, those of one moment are few.
    mine = (reading.sort_ms == boot.not_after_ms) & (reading.boot == boot.boot)
    query = (
        select(boot.probe_id, func.count().label("readings"))
        .select_from(tables.boots.join(tables.readings, mine & (reading.probe_id + 0 == boot.probe_id)))
        .where(boot.offset_ms.is_(None))
    )
    rows = connection.execute(query.group_by(boot.probe_id))
    return {row.probe_id: row.readings for row in rows}
