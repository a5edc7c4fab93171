"""Probe ticks into times: anchors give a boot its offset; a boot without one only has bounds.

A probe has no clock at power-up. An anchor pairs the bench's time with the probe's ticks within one boot,
so a record's time is `offset_ms + ticks_ms`, as certain as the anchor plus the crystal's drift since. A
boot that never met a bench lies after the boot before it and before the boot after it, and no later than
the pull that brought it.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

from curbtick_wire.records import NONE_U32
from sqlalchemy import Connection, bindparam, func, select, update

from curbtick.store import tables

# A crystal of 50 ppm at each end, common practice for parts of this kind.
DRIFT_PPM = 100


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
    connection: Connection, probe_id: int, seen: set[int], anchors: Sequence[Anchor], now_ms: int
) -> dict[int, Boot]:
    """Bring the boots of a probe up to date with newly seen boots and anchors; times of stored rows follow.

    seen: boot numbers of the batch. Returns at least those boots.
    """
    touched = seen | {anchor.boot for anchor in anchors}
    before = _boots(connection, probe_id, touched)
    missing = touched - before.keys()
    changed = missing | _add_anchors(connection, probe_id, anchors)
    if not changed:
        return before
    _add_boots(connection, probe_id, missing, anchors, now_ms)
    _apply_best_anchors(connection, probe_id, changed - missing)
    bounded = _bound(connection, probe_id, changed)
    after = _boots(connection, probe_id, touched)
    for boot in (bounded | (changed - missing)) - missing:
        times_of_boot = after[boot] if boot in after else _boots(connection, probe_id, {boot})[boot]
        _retime(connection, probe_id, boot, times_of_boot)
    return after


def _add_boots(
    connection: Connection, probe_id: int, missing: set[int], anchors: Sequence[Anchor], now_ms: int
) -> None:
    """New boots, each with the best of its anchors where it has one."""
    rows = []
    for boot in sorted(missing):
        mine = [anchor for anchor in anchors if anchor.boot == boot]
        row: dict[str, Any] = {
            "probe_id": probe_id,
            "boot": boot,
            "not_after_ms": now_ms,
            "offset_ms": None,
            "anchor_ticks_ms": None,
            "uncertainty_ms": None,
        }
        if mine:
            best = min(mine, key=lambda anchor: (anchor.uncertainty_ms, anchor.host_ms))
            row.update(
                offset_ms=best.host_ms - best.ticks_ms,
                anchor_ticks_ms=best.ticks_ms,
                uncertainty_ms=best.uncertainty_ms,
            )
        rows.append(row)
    if rows:
        connection.execute(tables.boots.insert(), rows)


_BOOTS = select(
    tables.boots.c.boot, tables.boots.c.offset_ms, tables.boots.c.not_before_ms, tables.boots.c.not_after_ms
).where(
    tables.boots.c.probe_id == bindparam("probe_id"),
    tables.boots.c.boot.between(bindparam("low"), bindparam("high")),
)


def _boots(connection: Connection, probe_id: int, numbers: set[int]) -> dict[int, Boot]:
    rows = connection.execute(_BOOTS, {"probe_id": probe_id, "low": min(numbers), "high": max(numbers)})
    return {
        row.boot: Boot(row.offset_ms, row.not_before_ms, row.not_after_ms)
        for row in rows
        if row.boot in numbers
    }


_KNOWN_ANCHORS = select(tables.anchors.c.boot, tables.anchors.c.ticks_ms, tables.anchors.c.host_ms).where(
    tables.anchors.c.probe_id == bindparam("probe_id"),
    tables.anchors.c.boot.between(bindparam("low"), bindparam("high")),
)


def _add_anchors(connection: Connection, probe_id: int, anchors: Sequence[Anchor]) -> set[int]:
    """Store the anchors that are new; returns the boots they belong to."""
    if not anchors:
        return set()
    boots = [anchor.boot for anchor in anchors]
    query = {"probe_id": probe_id, "low": min(boots), "high": max(boots)}
    stored = {tuple(row) for row in connection.execute(_KNOWN_ANCHORS, query)}
    fresh = {anchor[:3]: anchor for anchor in anchors if anchor[:3] not in stored}
    if fresh:
        rows = [{"probe_id": probe_id, **anchor._asdict()} for anchor in fresh.values()]
        connection.execute(tables.anchors.insert(), rows)
    return {boot for boot, _, _ in fresh}


def _apply_best_anchors(connection: Connection, probe_id: int, boots: set[int]) -> None:
    columns = tables.anchors.c
    for boot in boots:
        best = connection.execute(
            select(columns.ticks_ms, columns.host_ms, columns.uncertainty_ms)
            .where(columns.probe_id == probe_id, columns.boot == boot)
            .order_by(columns.uncertainty_ms, columns.host_ms)
            .limit(1)
        ).one()
        connection.execute(
            _boot_update(probe_id, boot).values(
                offset_ms=best.host_ms - best.ticks_ms,
                anchor_ticks_ms=best.ticks_ms,
                uncertainty_ms=best.uncertainty_ms,
            )
        )


def _boot_update(probe_id: int, boot: int) -> Any:
    return update(tables.boots).where(tables.boots.c.probe_id == probe_id, tables.boots.c.boot == boot)


def _bound(connection: Connection, probe_id: int, changed: set[int]) -> set[int]:
    """Give the unanchored boots about the changed ones their bounds; returns those whose bounds changed.

    A bound comes from the anchored boots on either side, and only ever tightens.
    """
    rows = _neighbourhood(connection, probe_id, min(changed), max(changed))
    moved = set()
    for row, low, high in zip(rows, _lows(rows), _highs(rows), strict=True):
        if row.offset_ms is not None:
            continue
        high_ms = row.not_after_ms if high is None else min(high, row.not_after_ms)
        if (low, high_ms) != (row.not_before_ms, row.not_after_ms):
            update_boot = _boot_update(probe_id, row.boot)
            connection.execute(update_boot.values(not_before_ms=low, not_after_ms=high_ms))
            moved.add(row.boot)
    return moved


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


def _retime(connection: Connection, probe_id: int, boot: int, times_of_boot: Boot) -> None:
    """Write a boot's changed times into every decoded row of it."""
    for table in tables.DECODED.values():
        same_boot = (table.c.probe_id == bindparam("p"), table.c.boot == bindparam("b"))
        if times_of_boot.offset_ms is None:
            values: dict[str, Any] = {"sort_ms": times_of_boot.not_after_ms}
        else:
            at = table.c.ticks_ms + times_of_boot.offset_ms
            values = {"time_ms": at, "sort_ms": at}
        connection.execute(update(table).where(*same_boot).values(values), {"p": probe_id, "b": boot})
