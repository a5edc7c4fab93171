"""The swap test: two sensors changed places; does the fault move with the sensor, or stay with the wiring?

Worked out from levels and their uncertainty, not from verdict letters. Let b and a be the levels before and
after at the two positions, of which one was the faulty one. If the fault is the sensor's, the low level
moves to the other position; if it is the wiring's, it stays. The two hypotheses predict the difference of
the positions' levels after the swap, +d or -d with d the difference before; each is compared with what was
read, in units of the difference's uncertainty.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median

from curbtick_wire import names
from sqlalchemy import Connection, bindparam, select

from curbtick.dates import date
from curbtick.errors import InputError
from curbtick.fleet import readings, vehicles
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.limits import repeat
from curbtick.limits.repeat import STATED_DB, Repeatability
from curbtick.store import tables
from curbtick.store.history import write

# A silent position is taken to lie this low: below it nothing is measured.
SILENT_DB = -50.0
DECIDE_SIGMA = 3.0
VISIT_MS = 12 * 3_600_000


@dataclass(frozen=True)
class Swap:
    """Two sensors that changed places."""

    id: int
    vehicle_id: int
    bumper: int
    position_a: int
    position_b: int
    at_ms: int


@dataclass(frozen=True)
class Decision:
    """What a swap test says.

    follows: "sensor", "wiring", or None when the readings cannot tell.
    why: the reason, in words.
    before_db, after_db: levels of both positions.
    uncertainty_db: of the change of the difference between the two positions.
    """

    follows: str | None
    why: str
    before_db: tuple[float, float] | None = None
    after_db: tuple[float, float] | None = None
    uncertainty_db: float | None = None


def record(
    connection: Connection,
    vehicle: Vehicle,
    bumper: int,
    position_a: int,
    position_b: int,
    at_ms: int,
    by: str | None = None,
) -> int:
    """Note that two sensors of a bumper changed places. Raises InputError."""
    highest = vehicle.bumper(bumper).positions
    if position_a == position_b or not (1 <= position_a <= highest and 1 <= position_b <= highest):
        raise InputError(
            f"Positions {position_a} and {position_b} of the {names.BUMPERS[bumper]} bumper cannot be swapped.",
            "Nothing was noted.",
            f"Name two different positions from 1 to {highest}.",
        )
    ref = vehicles.ref_of(connection, vehicle.id)
    payload = {"vehicle": ref, "bumper": bumper, "positions": [position_a, position_b]}
    return write.note(connection, "swapped", payload, at_ms, by).key


def undo(connection: Connection, swap_id: int, at_ms: int) -> None:
    """Take back the note of a swap. Raises InputError."""
    columns = tables.swaps.c
    digest = connection.scalar(
        select(columns.digest).where(columns.id == swap_id, columns.is_undone.is_(False))
    )
    if digest is None:
        raise InputError(
            "There is no such swap to undo.", "Nothing was changed.", "`curbtick work` lists them."
        )
    write.note(connection, "undone", {"entry": bytes(digest).hex()}, at_ms)


_OF_VEHICLE = (
    select(tables.swaps)
    .where(tables.swaps.c.vehicle_id == bindparam("vehicle_id"), tables.swaps.c.is_undone.is_(False))
    .order_by(tables.swaps.c.at_ms, tables.swaps.c.id)
)


def of_vehicle(connection: Connection, vehicle_id: int) -> list[Swap]:
    """Swaps of a vehicle that were not taken back, oldest first."""
    return [
        Swap(row.id, row.vehicle_id, row.bumper, row.position_a, row.position_b, row.at_ms)
        for row in connection.execute(_OF_VEHICLE, {"vehicle_id": vehicle_id})
    ]


def decide(connection: Connection, swap: Swap, repeats: Repeatability) -> Decision:
    """What the readings before and after a swap say. repeats: how well one reading of this fleet does."""
    later_ms = _next_swap_ms(connection, swap)
    sides = [_split(connection, swap, position, later_ms) for position in (swap.position_a, swap.position_b)]
    for position, (before, after) in zip((swap.position_a, swap.position_b), sides, strict=True):
        if not before:
            return Decision(None, f"position {position} was not read before the swap")
        if not after:
            return Decision(None, f"position {position} was not read since the swap")
    (before_a, after_a), (before_b, after_b) = sides
    return judge(before_a, before_b, after_a, after_b, repeats.level_db)


def judge(
    before_a: Sequence[float],
    before_b: Sequence[float],
    after_a: Sequence[float],
    after_b: Sequence[float],
    repeat_db: float = STATED_DB,
) -> Decision:
    """Decide from the levels in dBFS of positions a and b before and after; each list holds at least one."""
    before = (median(before_a), median(before_b))
    after = (median(after_a), median(after_b))
    was, now = before[0] - before[1], after[0] - after[1]
    u_was = repeat_db * sqrt(1 / len(before_a) + 1 / len(before_b))
    u_now = repeat_db * sqrt(1 / len(after_a) + 1 / len(after_b))
    uncertainty = sqrt(u_was**2 + u_now**2)
    if abs(was) < 2 * DECIDE_SIGMA * u_was:
        why = f"the two differed by only {abs(was):.1f} dB before, within what two readings differ by"
        return Decision(None, why, before, after, uncertainty)
    moved, stayed = abs(now + was) / uncertainty, abs(now - was) / uncertainty
    if moved <= DECIDE_SIGMA < stayed:
        return Decision(
            "sensor", "the low level moved with the sensor: replace that sensor", before, after, uncertainty
        )
    if stayed <= DECIDE_SIGMA < moved:
        why = "the low level stayed at its position: look at wiring, connector, mounting and paint there"
        return Decision("wiring", why, before, after, uncertainty)
    return Decision(None, _unclear(was, now, uncertainty), before, after, uncertainty)


def _unclear(was: float, now: float, uncertainty: float) -> str:
    if abs(now) <= DECIDE_SIGMA * uncertainty:
        return "both read alike now: the swap itself (a contact cleaned, a sensor reseated) may have cured it"
    return f"the difference was {was:+.1f} dB and is {now:+.1f} dB, which fits neither; read both again"


def _split(
    connection: Connection, swap: Swap, position: int, later_ms: int | None
) -> tuple[list[float], list[float]]:
    """Levels of a position on the last visit before the swap, and on the first after it and before the next
    swap.

    Only these two visits count: before them the fault may not have been there, after them something else
    may have been done.
    """
    newest = readings.of_place(connection, swap.vehicle_id, swap.bumper, position, newest=60)
    usable = [r for r in newest if r.verdict != "retry" and r.time_ms is not None and not r.superseded]
    before = [r for r in usable if r.sort_ms < swap.at_ms]
    after = [r for r in usable if r.sort_ms >= swap.at_ms and (later_ms is None or r.sort_ms < later_ms)]
    last_visit = [level_of(r) for r in before if r.sort_ms > before[-1].sort_ms - VISIT_MS]
    first_visit = [level_of(r) for r in after if r.sort_ms < after[0].sort_ms + VISIT_MS]
    return last_visit, first_visit


def level_of(reading: Reading) -> float:
    """A reading's level for comparing; a silent sensor counts as SILENT_DB."""
    return SILENT_DB if reading.level_db is None else max(reading.level_db, SILENT_DB)


def _next_swap_ms(connection: Connection, swap: Swap) -> int | None:
    later = [
        other.at_ms
        for other in of_vehicle(connection, swap.vehicle_id)
        if other.bumper == swap.bumper
        and (other.at_ms, other.id) > (swap.at_ms, swap.id)
        and {other.position_a, other.position_b} & {swap.position_a, swap.position_b}
    ]
    return min(later, default=None)


def in_words(
    connection: Connection, vehicle_id: int, repeats: Callable[[], Repeatability] | None = None
) -> list[str]:
    """Every swap test of a vehicle with what it says. repeats: where the fleet's repeatability is at hand already."""
    swaps = of_vehicle(connection, vehicle_id)
    if not swaps:
        return []
    repeatability = repeat.of_fleet(connection) if repeats is None else repeats()
    return [words(swap, decide(connection, swap, repeatability), repeatability) for swap in swaps]


def words(swap: Swap, decision: Decision, repeats: Repeatability) -> str:
    """What a swap test says, and the repeatability it was judged by."""
    where = f"{names.BUMPERS[swap.bumper]} {swap.position_a} and {swap.position_b}"
    verdict = {
        "sensor": "the fault moved with the sensor",
        "wiring": "the fault stayed with the wiring",
        None: "the readings cannot tell",
    }[decision.follows]
    ground = "" if decision.uncertainty_db is None else f" {repeats.words}"
    return f"Swap test of {date(swap.at_ms)}, {where}: {verdict} ({decision.why}).{ground}"
