"""Probe ticks into times: anchors give a boot its offset; a boot without one only has bounds.

A probe has no clock at power-up. An anchor pairs the bench's time with the probe's ticks within one boot,
so a record's time is `offset_ms + ticks_ms`, as certain as the anchor plus the crystal's drift since. A
boot that never met a bench lies after the boot before it and before the boot after it, and no later than
the pull that brought it.
"""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from curbtick_wire.records import NONE_U32
from sqlalchemy import Connection, bindparam, func, select, update

from curbtick.store import tables
from curbtick.store.fold import stale

# A crystal of 50 ppm at each end, common practice for parts of this kind.
DRIFT_PPM = 100
# When a boot ended of which no pull is known yet.
NEVER_MS = 1 << 52
Span = tuple[int, int]


class Boot(NamedTuple):
    """What is known of a boot's time.

    offset_ms: time at tick 0; None means that only the bounds are known.
    not_before_ms, not_after_ms: the bounds.
    """

    offset_ms: int | None
    not_before_ms: int | None
    not_after_ms: int


class Anchor(NamedTuple):
    """A pair of bench time and probe ticks within a boot.

    uncertainty_ms: one-sided, at the anchor itself.
    """

    boot: int
    ticks_ms: int
    host_ms: int
    uncertainty_ms: int


def uncertainty_ms(anchor_uncertainty_ms: int, distance_ms: int) -> int:
    """Uncertainty of a time `distance_ms` of ticks away from its anchor."""
    return anchor_uncertainty_ms + abs(distance_ms) * DRIFT_PPM // 1_000_000


def settle(
    connection: Connection, probe_id: int, seen: Mapping[int, Span], anchors: Sequence[Anchor] = ()
) -> dict[int, Boot]:
    """Bring the boots of a log up to date with records that are new and with anchors; times of stored rows follow.

    seen: of each boot of the new records their first and last number. What comes of it does not depend on the order in
    which records, anchors and pulls arrive. Returns the boots of `seen`.
    """
    touched = seen.keys() | {anchor.boot for anchor in anchors}
    if not touched:
        return {}
    before = _rows(connection, probe_id, min(touched), max(touched))
    _add_anchors(connection, probe_id, anchors)
    changed = {boot for boot in touched if _grows(before.get(boot), seen.get(boot))}
    changed |= {anchor.boot for anchor in anchors}
    if changed:
        _bring(connection, probe_id, before, seen, changed)
        _bound(connection, probe_id, changed)
    return {boot: _boot(row) for boot, row in _rows(connection, probe_id, min(touched), max(touched)).items()}


def pulled(connection: Connection, probe_id: int, spans: Sequence[Span], anchors: Sequence[Anchor]) -> None:
    """Take in a pull of these numbers, and the anchors measured beside it."""
    settle(connection, probe_id, {}, anchors)
    low, high = min((s[0] for s in spans), default=1), max((s[1] for s in spans), default=0)
    columns = tables.boots.c
    mine = (columns.probe_id == probe_id, columns.first_seq <= high, columns.last_seq >= low)
    boots = {row.boot: row for row in connection.execute(select(tables.boots).where(*mine))}
    if boots:
        _bring(connection, probe_id, boots, {}, set(boots))
        _bound(connection, probe_id, set(boots))


def _boot(row: Any) -> Boot:
    return Boot(row.offset_ms, row.not_before_ms, row.not_after_ms)


def _grows(row: Any, span: Span | None) -> bool:
    """Whether a boot's new records lie outside those that it had."""
    if span is None or row is None or row.first_seq is None:
        return span is not None
    return bool(span[0] < row.first_seq or span[1] > row.last_seq)


def _rows(connection: Connection, probe_id: int, low: int, high: int) -> dict[int, Any]:
    found = connection.execute(_BOOTS, {"probe_id": probe_id, "low": low, "high": high})
    return {row.boot: row for row in found}


_BOOTS = select(tables.boots).where(
    tables.boots.c.probe_id == bindparam("probe_id"),
    tables.boots.c.boot.between(bindparam("low"), bindparam("high")),
)
_KNOWN_ANCHORS = select(tables.anchors).where(
    tables.anchors.c.probe_id == bindparam("probe_id"),
    tables.anchors.c.boot.between(bindparam("low"), bindparam("high")),
)
_PULLS = select(tables.pulls.c.first_seq, tables.pulls.c.last_seq, tables.pulls.c.at_ms).where(
    tables.pulls.c.probe_id == bindparam("probe_id"),
    tables.pulls.c.last_seq >= bindparam("low"),
    tables.pulls.c.first_seq <= bindparam("high"),
)


def _add_anchors(connection: Connection, probe_id: int, anchors: Sequence[Anchor]) -> None:
    """Store the anchors that are new."""
    if not anchors:
        return
    boots = [anchor.boot for anchor in anchors]
    query = {"probe_id": probe_id, "low": min(boots), "high": max(boots)}
    stored = {tuple(row)[1:] for row in connection.execute(_KNOWN_ANCHORS, query)}
    fresh = {tuple(anchor): anchor for anchor in anchors if tuple(anchor) not in stored}
    if fresh:
        rows = [{"probe_id": probe_id, **anchor._asdict()} for anchor in fresh.values()]
        connection.execute(tables.anchors.insert(), rows)


def _bring(
    connection: Connection,
    probe_id: int,
    before: Mapping[int, Any],
    seen: Mapping[int, Span],
    changed: set[int],
) -> None:
    """Give boots their records' span, the earliest pull of it, and the best of their anchors."""
    best = _best_anchors(connection, probe_id, changed)
    spans = {boot: _joined(before.get(boot), seen.get(boot)) for boot in sorted(changed)}
    pulls = _pulls(connection, probe_id, [span for span in spans.values() if span is not None])
    new = []
    for boot, span in spans.items():
        row = {**_span_row(span, pulls), **_anchor_row(best.get(boot))}
        old = before.get(boot)
        if old is None:
            new.append({"probe_id": probe_id, "boot": boot, **row})
        else:
            _renew(connection, old, row)
    if new:
        connection.execute(tables.boots.insert(), new)


def _pulls(connection: Connection, probe_id: int, spans: Sequence[Span]) -> Sequence[Any]:
    """Pulls of a log that may have brought any of these numbers."""
    if not spans:
        return ()
    low, high = min(first for first, _ in spans), max(last for _, last in spans)
    return connection.execute(_PULLS, {"probe_id": probe_id, "low": low, "high": high}).all()


def _span_row(span: Span | None, pulls: Sequence[Any]) -> dict[str, Any]:
    first, last = (None, None) if span is None else span
    mine = () if span is None else (p for p in pulls if p.first_seq <= span[1] and p.last_seq >= span[0])
    pulled_ms = min((pull.at_ms for pull in mine), default=None)
    bounds = {"not_before_ms": None, "not_after_ms": NEVER_MS if pulled_ms is None else pulled_ms}
    return {"first_seq": first, "last_seq": last, "pulled_ms": pulled_ms, **bounds}


def _anchor_row(anchor: Anchor | None) -> dict[str, Any]:
    if anchor is None:
        return {"offset_ms": None, "anchor_ticks_ms": None, "uncertainty_ms": None}
    offset_ms = anchor.host_ms - anchor.ticks_ms
    ticks_ms, uncertainty_ms = anchor.ticks_ms, anchor.uncertainty_ms
    return {"offset_ms": offset_ms, "anchor_ticks_ms": ticks_ms, "uncertainty_ms": uncertainty_ms}


def _renew(connection: Connection, old: Any, row: dict[str, Any]) -> None:
    """Write what changed of a boot; one without an anchor keeps its bounds until they are worked out (`_bound`)."""
    if row["offset_ms"] is None:
        row = {**row, "not_before_ms": old.not_before_ms, "not_after_ms": old.not_after_ms}
    if all(getattr(old, name) == value for name, value in row.items()):
        return
    connection.execute(_boot_update(old.probe_id, old.boot).values(**row))
    if (old.offset_ms, old.not_after_ms) != (row["offset_ms"], row["not_after_ms"]):
        _retime(connection, old.probe_id, old.boot, row["offset_ms"], row["not_after_ms"])


def _joined(row: Any, span: Span | None) -> Span | None:
    spans = [] if span is None else [span]
    if row is not None and row.first_seq is not None:
        spans.append((row.first_seq, row.last_seq))
    if not spans:
        return None
    return min(first for first, _ in spans), max(last for _, last in spans)


def _best_anchors(connection: Connection, probe_id: int, boots: set[int]) -> dict[int, Anchor]:
    query = {"probe_id": probe_id, "low": min(boots), "high": max(boots)}
    best: dict[int, Anchor] = {}
    for row in connection.execute(_KNOWN_ANCHORS, query):
        anchor = Anchor(row.boot, row.ticks_ms, row.host_ms, row.uncertainty_ms)
        if row.boot not in best or _worth(anchor) < _worth(best[row.boot]):
            best[row.boot] = anchor
    return best


def _worth(anchor: Anchor) -> tuple[int, int, int]:
    return anchor.uncertainty_ms, anchor.host_ms, anchor.ticks_ms


def _boot_update(probe_id: int, boot: int) -> Any:
    return update(tables.boots).where(tables.boots.c.probe_id == probe_id, tables.boots.c.boot == boot)


def _bound(connection: Connection, probe_id: int, changed: set[int]) -> None:
    """Give the unanchored boots about the changed ones their bounds, from the anchored boots on either side."""
    rows = _neighbourhood(connection, probe_id, min(changed), max(changed))
    for row, low, high in zip(rows, _lows(rows), _highs(rows), strict=True):
        if row.offset_ms is not None:
            continue
        pulled_ms = NEVER_MS if row.pulled_ms is None else row.pulled_ms
        high_ms = pulled_ms if high is None else min(high, pulled_ms)
        if (low, high_ms) != (row.not_before_ms, row.not_after_ms):
            bounds = _boot_update(probe_id, row.boot).values(not_before_ms=low, not_after_ms=high_ms)
            connection.execute(bounds)
            _retime(connection, probe_id, row.boot, None, high_ms)


_ANCHORED = (tables.boots.c.probe_id == bindparam("probe_id"), tables.boots.c.offset_ms.is_not(None))
_NEIGHBOURHOOD = (
    select(tables.boots)
    .where(
        tables.boots.c.probe_id == bindparam("probe_id"),
        tables.boots.c.boot
        >= func.coalesce(
            select(func.max(tables.boots.c.boot))
            .where(*_ANCHORED, tables.boots.c.boot < bindparam("first"))
            .scalar_subquery(),
            0,
        ),
        tables.boots.c.boot
        <= func.coalesce(
            select(func.min(tables.boots.c.boot))
            .where(*_ANCHORED, tables.boots.c.boot > bindparam("last"))
            .scalar_subquery(),
            NONE_U32,
        ),
    )
    .order_by(tables.boots.c.boot)
)


def _neighbourhood(connection: Connection, probe_id: int, first: int, last: int) -> Sequence[Any]:
    """Boots from the anchored one before `first` to the anchored one after `last`."""
    return connection.execute(_NEIGHBOURHOOD, {"probe_id": probe_id, "first": first, "last": last}).all()


def _lows(rows: Sequence[Any]) -> list[int | None]:
    """Latest anchored moment before each boot."""
    lows: list[int | None] = []
    low: int | None = None
    for row in rows:
        lows.append(low)
        if row.offset_ms is not None:
            low = row.offset_ms + row.anchor_ticks_ms
    return lows


def _highs(rows: Sequence[Any]) -> list[int | None]:
    """Start of the first anchored boot after each boot."""
    highs: list[int | None] = []
    high: int | None = None
    for row in reversed(rows):
        highs.append(high)
        if row.offset_ms is not None:
            high = row.offset_ms
    return highs[::-1]


def _retime(
    connection: Connection, probe_id: int, boot: int, offset_ms: int | None, not_after_ms: int
) -> None:
    """Write a boot's changed times into every decoded row of it; its readings' vehicles are folded again."""
    for table in tables.DECODED.values():
        same_boot = (table.c.probe_id == bindparam("p"), table.c.boot == bindparam("b"))
        values: dict[str, Any] = {"time_ms": None, "sort_ms": not_after_ms}
        if offset_ms is not None:
            at = table.c.ticks_ms + offset_ms
            values = {"time_ms": at, "sort_ms": at}
        connection.execute(update(table).where(*same_boot).values(values), {"p": probe_id, "b": boot})
    columns = tables.readings.c
    mine = (columns.probe_id == probe_id, columns.boot == boot)
    stale.mark(connection, connection.execute(select(columns.vehicle_id).where(*mine).distinct()).scalars())
