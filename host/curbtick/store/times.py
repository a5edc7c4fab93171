"""Probe ticks into times: anchors give a boot its offset; a boot without one only has bounds.

A probe has no clock at power-up. An anchor pairs the bench's time with the probe's ticks within one boot,
so a record's time is `offset_ms + ticks_ms`, as certain as the anchor plus the crystal's drift since. A
boot that never met a bench lies after the boot before it and before the boot after it, and no later than
the pull that brought it.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, select, update

from curbtick.store import tables

# A crystal of 50 ppm at each end, common practice for parts of this kind.
DRIFT_PPM = 100


class Boot(NamedTuple):
    """What is known of a boot's time; offset_ms None means only the bounds are."""

    offset_ms: int | None
    not_before_ms: int | None
    not_after_ms: int

    def time_ms(self, ticks_ms: int) -> int | None:
        return None if self.offset_ms is None else self.offset_ms + ticks_ms

    def sort_ms(self, ticks_ms: int) -> int:
        return self.not_after_ms if self.offset_ms is None else self.offset_ms + ticks_ms


class Anchor(NamedTuple):
    """A pair of bench time and probe ticks within a boot; uncertainty_ms is one-sided, at the anchor
    itself.
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

    seen: boot numbers of the batch. Returns every boot of the probe.
    """
    before = _boots(connection, probe_id)
    new_anchors = [anchor for anchor in anchors if _add_anchor(connection, probe_id, anchor)]
    missing = (seen | {anchor.boot for anchor in anchors}) - before.keys()
    if not missing and not new_anchors:
        return before
    if missing:
        connection.execute(
            tables.boots.insert(),
            [{"probe_id": probe_id, "boot": boot, "not_after_ms": now_ms} for boot in sorted(missing)],
        )
    _apply_best_anchors(connection, probe_id, {anchor.boot for anchor in new_anchors})
    _bound(connection, probe_id)
    after = _boots(connection, probe_id)
    for boot in before.keys() & after.keys():
        if before[boot] != after[boot]:
            _retime(connection, probe_id, boot, after[boot])
    return after


def _boots(connection: Connection, probe_id: int) -> dict[int, Boot]:
    columns = tables.boots.c
    query = select(columns.boot, columns.offset_ms, columns.not_before_ms, columns.not_after_ms)
    return {row.boot: Boot(*row[1:]) for row in connection.execute(query.where(columns.probe_id == probe_id))}


def _add_anchor(connection: Connection, probe_id: int, anchor: Anchor) -> bool:
    columns = tables.anchors.c
    same = select(columns.id).where(
        columns.probe_id == probe_id,
        columns.boot == anchor.boot,
        columns.ticks_ms == anchor.ticks_ms,
        columns.host_ms == anchor.host_ms,
    )
    if connection.scalar(same) is not None:
        return False
    connection.execute(tables.anchors.insert().values(probe_id=probe_id, **anchor._asdict()))
    return True


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


def _bound(connection: Connection, probe_id: int) -> None:
    """Give every unanchored boot its bounds from the anchored boots around it; a bound only ever tightens."""
    columns = tables.boots.c
    rows = connection.execute(
        select(tables.boots).where(columns.probe_id == probe_id).order_by(columns.boot)
    ).all()
    for row, low, high in zip(rows, _lows(rows), _highs(rows), strict=True):
        if row.offset_ms is not None:
            continue
        high_ms = row.not_after_ms if high is None else min(high, row.not_after_ms)
        if (low, high_ms) != (row.not_before_ms, row.not_after_ms):
            update_boot = _boot_update(probe_id, row.boot)
            connection.execute(update_boot.values(not_before_ms=low, not_after_ms=high_ms))


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


def _retime(connection: Connection, probe_id: int, boot: int, known: Boot) -> None:
    """Write a boot's changed times into every decoded row of it."""
    for table in tables.DECODED.values():
        same_boot = (table.c.probe_id == bindparam("p"), table.c.boot == bindparam("b"))
        if known.offset_ms is None:
            values: dict[str, Any] = {"sort_ms": known.not_after_ms}
        else:
            at = table.c.ticks_ms + known.offset_ms
            values = {"time_ms": at, "sort_ms": at}
        connection.execute(update(table).where(*same_boot).values(values), {"p": probe_id, "b": boot})
