"""What other limits would have changed in last month's verdicts."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names
from sqlalchemy import Connection, select

from curbtick.dates import DAY_MS
from curbtick.limits import sets
from curbtick.limits.sets import LimitSet
from curbtick.store import tables

MONTH_MS = 30 * DAY_MS
# Reasons that level and frequency limits decide; a verdict with any other reason stays as it was.
_DECIDED = names.mask_of(names.REASONS, ("low_level", "off_frequency"))


@dataclass(frozen=True)
class Effect:
    """What other limits would have changed.

    judged: readings with a level and a verdict.
    changed: how many would go from one verdict to another, by words such as "pass to weak".
    """

    judged: int
    changed: Mapping[str, int]


def last_month(connection: Connection, limit_set: LimitSet, now_ms: int) -> Effect:
    """Judge the last 30 days' readings again, by level and frequency, as far as the bench can."""
    columns = tables.readings.c
    query = select(
        columns.verdict, columns.reasons, columns.class_khz, columns.level_cdb, columns.frequency_hz
    ).where(
        columns.sort_ms >= now_ms - MONTH_MS,
        columns.level_cdb.is_not(None),
        columns.verdict.in_((names.PASS, names.WEAK, names.DEAD)),
    )
    judged, changed = 0, Counter[str]()
    for row in connection.execute(query, execution_options={"yield_per": 5000}):
        judged += 1
        after = judge(row, limit_set)
        if after is not None and after != row.verdict:
            changed[f"{names.VERDICTS[row.verdict]} to {names.VERDICTS[after]}"] += 1
    return Effect(judged, dict(changed))


def judge(row: Any, limit_set: LimitSet) -> int | None:
    """The verdict a reading would have had; None where its reasons are not the limits' to decide."""
    limits = sets.for_class(limit_set, row.class_khz)
    if limits is None or row.reasons & ~_DECIDED:
        return None
    if row.level_cdb < limits["dead_cdb"]:
        return names.DEAD
    if row.level_cdb < limits["pass_cdb"]:
        return names.WEAK
    off = row.frequency_hz is not None and abs(row.frequency_hz - limits["centre_hz"]) > limits["window_hz"]
    return names.WEAK if off else names.PASS


def in_words(effect: Effect) -> str:
    """An effect as a sentence."""
    if not effect.judged:
        return "No readings of the last 30 days to judge again."
    if not effect.changed:
        return f"None of the {effect.judged} verdicts of the last 30 days would have been another."
    parts = ", ".join(f"{count} from {words}" for words, count in sorted(effect.changed.items()))
    return f"Of the {effect.judged} verdicts of the last 30 days: {parts}."
