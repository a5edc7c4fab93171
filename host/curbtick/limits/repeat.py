"""How well this fleet's readings repeat: the standard uncertainty of one reading's level, the collar put on anew.

Measured on the newest readings, where a probe read a position twice on one visit; the cost does not grow
with the history.
"""

from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import ColumnElement, Connection, Over, func, select

from curbtick.limits import robust
from curbtick.store import tables

# A cautious figure until the fleet's own repeated readings are enough.
STATED_DB = 0.8
PAIRS_MIN = 10
SAME_VISIT_MS = 4 * 3_600_000
NEWEST = 20_000
# However well readings repeat, no level is known better than the probe's own error of measurement.
FLOOR_DB = 0.3


@dataclass(frozen=True)
class Repeatability:
    """One reading's standard uncertainty in dB, and the pairs it rests on; below PAIRS_MIN the stated one."""

    level_db: float
    pairs: int

    @property
    def is_measured(self) -> bool:
        """Whether it is the fleet's own."""
        return self.pairs >= PAIRS_MIN

    @property
    def words(self) -> str:
        """A sentence that says where it comes from."""
        if self.is_measured:
            return f"One reading repeats to {self.level_db:.2f} dB, measured on {self.pairs} pairs of this fleet's own."
        return (
            f"One reading is taken to repeat to {self.level_db:.2f} dB: this fleet has {self.pairs} repeated readings, "
            f"and {PAIRS_MIN} are needed to measure it."
        )


_READ = tables.readings.c
_NEWEST = (
    select(
        *(_READ.vehicle_id, _READ.at_bumper, _READ.at_position, _READ.probe_id),
        *(_READ.class_khz, _READ.sort_ms, _READ.id, _READ.level_cdb),
    )
    .where(_READ.vehicle_id.is_not(None), _READ.level_cdb.is_not(None))
    .where(_READ.verdict.in_((names.PASS, names.WEAK, names.DEAD)))
    .order_by(_READ.sort_ms.desc(), _READ.id.desc())
    .limit(NEWEST)
    .subquery()
)
_FOUND = _NEWEST.c


def _before(column: ColumnElement[int]) -> Over[int]:
    """What the same probe's reading before had in a column, at the same place with the same class."""
    place = (_FOUND.vehicle_id, _FOUND.at_bumper, _FOUND.at_position, _FOUND.probe_id, _FOUND.class_khz)
    return func.lag(column).over(partition_by=place, order_by=(_FOUND.sort_ms, _FOUND.id))


_BESIDE = select(
    _FOUND.level_cdb,
    _FOUND.sort_ms,
    _before(_FOUND.level_cdb).label("earlier_cdb"),
    _before(_FOUND.sort_ms).label("earlier_ms"),
).subquery()
_PAIRS = select(_BESIDE.c.level_cdb - _BESIDE.c.earlier_cdb).where(
    _BESIDE.c.sort_ms - _BESIDE.c.earlier_ms <= SAME_VISIT_MS
)


def of_fleet(connection: Connection) -> Repeatability:
    """The fleet's own repeatability, or the stated one where repeated readings are too few."""
    differences_cdb = list(connection.execute(_PAIRS).scalars())
    if len(differences_cdb) < PAIRS_MIN:
        return Repeatability(STATED_DB, len(differences_cdb))
    measured_db = robust.sigma_of_differences(differences_cdb) / 100
    return Repeatability(max(measured_db, FLOOR_DB), len(differences_cdb))
