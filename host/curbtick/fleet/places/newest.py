"""Which reading counts at each place: the newest one, and where nobody can tell which that is, the worse one.

Within one probe the sequence numbers order readings, whatever its clock was told. Across probes times do; a reading of
a start that never met a bench is known only to lie between two bounds, and its `sort_ms` is the later one.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from curbtick_wire import names
from sqlalchemy import (
    ColumnElement,
    Connection,
    ScalarSelect,
    Select,
    Subquery,
    func,
    literal,
    select,
    union_all,
)

from curbtick.fleet import readings
from curbtick.fleet.readings import Reading
from curbtick.store import tables

Place = tuple[int, int, int]

# Worst first; a place that was never read stands between what needs work and what passes.
SEVERITY = ("dead", "weak", "retry", "unread", "pass")

# So many of a place's newest readings by time are compared at first; as many more as may be newer than they seem.
CANDIDATES = 4
_NEVER_MS = 1 << 62


class Newest(NamedTuple):
    """A place's reading that counts, and the earliest moment at which it can have been taken."""

    reading: Reading
    earliest_ms: int


class _Candidate(NamedTuple):
    """A reading that may be a place's newest: it was taken between two moments."""

    id: int
    probe_id: int
    boot: int
    seq: int
    verdict: str
    earliest_ms: int
    latest_ms: int


def of_places(connection: Connection, keys: Iterable[int] | None) -> dict[Place, Newest]:
    """The reading that counts at each place of these vehicles, of all when keys is None."""
    counting = {}
    candidates = _candidates(connection, tables.readings.c.id.in_(_ids(keys, CANDIDATES)))
    later_ms = _later_boots(connection, [one for some in candidates.values() for one in some])
    for place, some in candidates.items():
        counting[place] = _choose(_enough(connection, place, some, later_ms))
    query = readings.query(tables.readings.c.id.in_(_ids(keys, 1)))
    by_id = {reading.id: reading for reading in readings.fetch(connection, query)}
    by_id |= readings.by_ids(connection, {one.id for one in counting.values()} - by_id.keys())
    return {place: Newest(by_id[one.id], one.earliest_ms) for place, one in counting.items()}


def _candidates(connection: Connection, *wanted: ColumnElement[bool]) -> dict[Place, list[_Candidate]]:
    reading, boot = tables.readings.c, tables.boots.c
    where = (boot.probe_id == reading.probe_id) & (boot.boot == reading.boot)
    earliest_ms = func.coalesce(reading.time_ms, boot.not_before_ms, 0).label("earliest_ms")
    place = (reading.vehicle_id, reading.at_bumper, reading.at_position)
    taken = (reading.id, reading.probe_id, reading.boot, reading.seq, reading.verdict, reading.sort_ms)
    query = select(*place, *taken, earliest_ms).select_from(tables.readings.outerjoin(tables.boots, where))
    by_place: dict[Place, list[_Candidate]] = defaultdict(list)
    for row in connection.execute(query.where(*wanted)):
        verdict = names.VERDICTS[row.verdict]
        by_place[row.vehicle_id, row.at_bumper, row.at_position].append(
            _Candidate(row.id, row.probe_id, row.boot, row.seq, verdict, row.earliest_ms, row.sort_ms)
        )
    return by_place


def _later_boots(connection: Connection, candidates: Iterable[_Candidate]) -> dict[tuple[int, int], int]:
    """By probe and boot, from the candidates' first on, the earliest `sort_ms` a reading of any later boot can have.

    It lies before the boot's own readings where the probe's clock was told a time too late, and put right since.
    """
    boot = tables.boots.c
    starts = select(boot.boot, func.coalesce(boot.offset_ms, boot.not_after_ms)).order_by(boot.boot.desc())
    later_ms: dict[tuple[int, int], int] = {}
    for probe_id, first in _first_boots(candidates).items():
        least_ms = _NEVER_MS
        for number, start_ms in connection.execute(
            starts.where(boot.probe_id == probe_id, boot.boot >= first)
        ):
            later_ms[probe_id, number] = least_ms
            least_ms = min(least_ms, start_ms)
    return later_ms


def _first_boots(candidates: Iterable[_Candidate]) -> dict[int, int]:
    """Of each probe the lowest boot among candidates."""
    first: dict[int, int] = {}
    for one in candidates:
        first[one.probe_id] = min(one.boot, first.get(one.probe_id, one.boot))
    return first


def _enough(
    connection: Connection,
    place: Place,
    candidates: list[_Candidate],
    later_ms: Mapping[tuple[int, int], int],
) -> list[_Candidate]:
    """A place's newest candidates by time, with every older one that may yet be the one that counts."""
    if len(candidates) < CANDIDATES:
        return candidates
    # Of those that share the oldest one's time not all need be there.
    complete_ms = min(one.latest_ms for one in candidates) + 1
    while (since_ms := _may_count_since(candidates, later_ms)) < complete_ms:
        candidates = _candidates(connection, *_since(place, since_ms))[place]
        complete_ms = since_ms
    return candidates


def _since(place: Place, since_ms: int) -> list[ColumnElement[bool]]:
    """What readings of a place from a time on have in common."""
    columns = tables.readings.c
    at_place = zip((columns.vehicle_id, columns.at_bumper, columns.at_position), place, strict=True)
    return [*(column == value for column, value in at_place), columns.sort_ms >= since_ms]


def _may_count_since(candidates: Iterable[_Candidate], later_ms: Mapping[tuple[int, int], int]) -> int:
    """The least `sort_ms` of a reading that may be newer than these, by time or by its probe's own order."""
    last = _last_of_probes(candidates)
    surely_ms = max(one.earliest_ms for one in last)
    return min(surely_ms, *(later_ms.get((one.probe_id, one.boot), surely_ms) for one in last))


def _last_of_probes(candidates: Iterable[_Candidate]) -> Collection[_Candidate]:
    """Of each probe the last candidate in its own order."""
    return {one.probe_id: one for one in sorted(candidates, key=lambda one: one.seq)}.values()


def _choose(candidates: Iterable[_Candidate]) -> _Candidate:
    """The candidate that counts: of each probe its last, of these the worst that may be the newest."""
    last = _last_of_probes(candidates)
    surely_ms = max(one.earliest_ms for one in last)
    may_be = [one for one in last if one.latest_ms >= surely_ms]
    return min(may_be, key=lambda one: (SEVERITY.index(one.verdict), -one.latest_ms, -one.seq))


def _places(keys: Iterable[int] | None) -> Subquery:
    """Every (vehicle_id, bumper, position) that any fitting of a bumper ever had."""
    positions = union_all(
        *(select(literal(number).label("position")) for number in range(1, names.BUMPER_POSITIONS_MAX + 1))
    ).subquery()
    bumper = tables.bumpers.c
    query = select(bumper.vehicle_id, bumper.bumper, positions.c.position).where(
        positions.c.position <= bumper.positions
    )
    if keys is not None:
        query = query.where(bumper.vehicle_id.in_(list(keys)))
    return query.distinct().subquery()


def _ids(keys: Iterable[int] | None, count: int) -> Select[tuple[int]]:
    """Keys of the newest so many readings of each place by time; an index look-up each, however long the history is."""
    place = _places(keys)
    nth = [select(_nth(place, n).label("id")).select_from(place) for n in range(count)]
    return select(union_all(*nth).subquery().c.id)


def _nth(place: Subquery, n: int) -> ScalarSelect[int]:
    """Key of a place's newest reading but n."""
    inner = tables.readings.alias()
    return (
        select(inner.c.id)
        .where(inner.c.vehicle_id == place.c.vehicle_id, inner.c.at_bumper == place.c.bumper)
        .where(inner.c.at_position == place.c.position)
        .order_by(inner.c.sort_ms.desc(), inner.c.id.desc())
        .limit(1)
        .offset(n)
        .correlate(place)
        .scalar_subquery()
    )
