"""Which reading counts at each place: the newest one, and where nobody can tell which that is, the worse one.

Within one probe the sequence numbers order readings, whatever its clock was told. Across probes times do; a reading of
a start that never met a bench is known only to lie between two bounds, and its `sort_ms` is the later one.
"""

from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple

from curbtick_wire import names
from sqlalchemy import Connection, ScalarSelect, Select, Subquery, func, literal, select, union_all

from curbtick.fleet import readings
from curbtick.fleet.readings import Reading
from curbtick.store import tables

Place = tuple[int, int, int]

# Worst first; a place that was never read stands between what needs work and what passes.
SEVERITY = ("dead", "weak", "retry", "unread", "pass")

# So many of a place's newest readings by time are compared.
CANDIDATES = 4


class Newest(NamedTuple):
    """A place's reading that counts, and the earliest moment at which it can have been taken."""

    reading: Reading
    earliest_ms: int


class _Candidate(NamedTuple):
    """A reading that may be a place's newest: it was taken between two moments."""

    id: int
    probe_id: int
    seq: int
    verdict: str
    earliest_ms: int
    latest_ms: int


def of_places(connection: Connection, keys: Iterable[int] | None) -> dict[Place, Newest]:
    """The reading that counts at each place of these vehicles, of all when keys is None."""
    chosen = {place: _choose(found) for place, found in _candidates(connection, keys).items()}
    query = readings.query(tables.readings.c.id.in_(_ids(keys, 1)))
    by_id = {reading.id: reading for reading in readings.fetch(connection, query)}
    by_id |= readings.by_ids(connection, {one.id for one in chosen.values()} - by_id.keys())
    return {place: Newest(by_id[one.id], one.earliest_ms) for place, one in chosen.items()}


def _candidates(connection: Connection, keys: Iterable[int] | None) -> dict[Place, list[_Candidate]]:
    reading, boot = tables.readings.c, tables.boots.c
    where = (boot.probe_id == reading.probe_id) & (boot.boot == reading.boot)
    earliest = func.coalesce(reading.time_ms, boot.not_before_ms, 0)
    place = (reading.vehicle_id, reading.at_bumper, reading.at_position)
    query = (
        select(*place, reading.id, reading.probe_id, reading.seq, reading.verdict, earliest, reading.sort_ms)
        .select_from(tables.readings.outerjoin(tables.boots, where))
        .where(reading.id.in_(_ids(keys, CANDIDATES)))
    )
    found: dict[Place, list[_Candidate]] = defaultdict(list)
    for vehicle_id, bumper, position, key, probe_id, seq, verdict, *moments in connection.execute(query):
        one = _Candidate(key, probe_id, seq, names.VERDICTS[verdict], *moments)
        found[vehicle_id, bumper, position].append(one)
    return found


def _choose(found: Iterable[_Candidate]) -> _Candidate:
    """The candidate that counts: of each probe its last, of these the worst that may be the newest."""
    last: dict[int, _Candidate] = {}
    for one in sorted(found, key=lambda one: one.seq):
        last[one.probe_id] = one
    surely_ms = max(one.earliest_ms for one in last.values())
    may_be = [one for one in last.values() if one.latest_ms >= surely_ms]
    return min(may_be, key=lambda one: (SEVERITY.index(one.verdict), -one.latest_ms, -one.seq))


def _places(keys: Iterable[int] | None) -> Subquery:
    """Every (vehicle_id, bumper, position) that any fitting of a bumper ever had."""
    positions = union_all(
        *(select(literal(number).label("position")) for number in range(1, names.BUMPER_POSITIONS_MAX + 1))
    ).subquery()
    fitted = tables.bumpers.c
    query = select(fitted.vehicle_id, fitted.bumper, positions.c.position).where(
        positions.c.position <= fitted.positions
    )
    if keys is not None:
        query = query.where(fitted.vehicle_id.in_(list(keys)))
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
