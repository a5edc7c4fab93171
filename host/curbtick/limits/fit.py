"""Limits from the fleet: for each class the healthy level, how well a reading repeats, and the limits that
follow.

Healthy sensors are described by the median and MAD of the sensors' own median levels, outliers set aside. A
sensor counts as weak when it truly lies BELOW_HEALTHY_DB below the healthy centre (the factory set's own
distance, common practice); the pass limit stands above that by a guard band for the stated risk of a false
PASS. A class whose majority may be the worn sensors is fitted and shown, but not proposed (`holding`).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from math import sqrt
from statistics import median
from typing import Any

from curbtick_wire import names, settings
from sqlalchemy import Connection, or_, select

from curbtick.limits import guard, holding, robust, sets
from curbtick.limits.holding import Standing
from curbtick.limits.repeat import PAIRS_MIN, SAME_VISIT_MS, STATED_DB
from curbtick.limits.sets import LimitSet
from curbtick.limits.tally import STEPS_PER_DB, Tally
from curbtick.store import tables

BELOW_HEALTHY_DB = 10.0
DEAD_BELOW_HEALTHY_DB = 27.0
SENSORS_MIN, SENSORS_GOOD = 8, 30
SPREAD_MIN_DB = 0.3
HISTOGRAM_STEP_DB = 1.0
_STEPS_PER_CDB = STEPS_PER_DB // 100


@dataclass(frozen=True)
class Repeat:
    """Standard uncertainties in dB; 0 where there are fewer than two groups to compare.

    within_db: of repeated readings by one technician with one probe.
    pairs: repeated readings that within_db rests on.
    technician_db, technicians: between technicians, and how many there are.
    probe_db, probes: between probes, and how many there are.
    """

    within_db: float
    pairs: int
    technician_db: float
    technicians: int
    probe_db: float
    probes: int

    @property
    def one_reading_db(self) -> float:
        """Of one reading by any technician with any probe."""
        return sqrt(self.within_db**2 + self.technician_db**2 + self.probe_db**2)


@dataclass(frozen=True)
class ClassFit:
    """The fit of one class; what follows from the levels is None where they are too few to propose anything.

    sensors, readings: those that were heard.
    histogram: (lower edge in dB, count) of the sensors' median levels.
    warnings: what speaks against relying on it, a phrase each.
    outliers: sensors set aside.
    centre_db, spread_db: of the healthy sensors' levels.
    tolerance_db: the level at which a sensor truly counts as weak.
    pass_db, dead_db: the limits that follow.
    false_fail_share: of healthy sensors, those that would read below pass_db.
    below_pass: healthy sensors below pass_db, with their share's interval.
    standing: sensors with a verdict, silent ones among them.
    not_passing: of these, those whose newest verdict is WEAK or DEAD.
    would_pass: of these, those that the fitted limit would pass.
    above: outliers above the centre.
    in_force_db: the pass limit so far, None where there is none.
    held: why the class is not proposed, empty where it is.
    """

    class_khz: int
    sensors: int
    readings: int
    histogram: Sequence[tuple[float, int]]
    warnings: Sequence[str]
    outliers: int = 0
    centre_db: float | None = None
    spread_db: float | None = None
    repeat: Repeat | None = None
    tolerance_db: float | None = None
    pass_db: float | None = None
    dead_db: float | None = None
    false_fail_share: float | None = None
    below_pass: int = 0
    below_pass_interval: tuple[float, float] | None = None
    standing: int = 0
    not_passing: int = 0
    would_pass: int = 0
    above: int = 0
    in_force_db: float | None = None
    held: Sequence[str] = ()

    @property
    def is_proposed(self) -> bool:
        """Whether its limits are proposed without being asked for; a class that the set lacks never is."""
        return self.pass_db is not None and self.in_force_db is not None and not self.held


@dataclass(frozen=True)
class Fit:
    """The fit of a fleet for an accepted risk of a false PASS. probe_ids: whose readings it rests on."""

    risk_share: float
    since_ms: int
    classes: Sequence[ClassFit]
    probe_ids: Sequence[int] = ()


@dataclass
class _Gathered:
    """What one class's readings come down to; it grows with the sensors, not with their readings."""

    medians: list[float] = field(default_factory=list)
    differences: Tally = field(default_factory=Tally)
    by_technician: defaultdict[str, Tally] = field(default_factory=lambda: defaultdict(Tally))
    by_probe: defaultdict[int, Tally] = field(default_factory=lambda: defaultdict(Tally))
    readings: int = 0
    standing: Standing = field(default_factory=lambda: Standing(0, 0, []))


def of_fleet(connection: Connection, since_ms: int, risk: float) -> Fit:
    """Fit every class from readings since a time. Raises InputError for a risk that makes no sense."""
    guard.guard_factor(risk)
    in_force = sets.load(connection)
    gathered: dict[int, _Gathered] = {}
    for _, of_sensor in groupby(_rows(connection, since_ms), key=_sensor_of):
        rows = list(of_sensor)
        _gather(gathered.setdefault(rows[0].class_khz, _Gathered()), rows)
    classes = [of_class(khz, gathered[khz], risk, _pass_db(in_force, khz)) for khz in sorted(gathered)]
    probes = {key for class_ in gathered.values() for key in class_.by_probe}
    return Fit(risk, since_ms, classes, sorted(probes))


def _pass_db(limit_set: LimitSet, class_khz: int) -> float | None:
    row = sets.for_class(limit_set, class_khz)
    return None if row is None else row["pass_cdb"] / 100


def _sensor_of(row: Any) -> tuple[int, int, int, int]:
    return row.vehicle_id, row.at_bumper, row.at_position, row.class_khz


def _rows(connection: Connection, since_ms: int) -> Iterator[Any]:
    """Readings with their round's technician, by place, then in order of time.

    level_cdb is None where a DEAD sensor was not heard, technician where none is known.
    """
    columns, reading = tables.readings.c, tables.readings
    in_round = tables.rounds.c.number == columns.round_id
    query = (
        select(
            columns.vehicle_id,
            columns.at_bumper,
            columns.at_position,
            columns.class_khz,
            columns.sort_ms,
            columns.level_cdb,
            columns.probe_id,
            tables.rounds.c.technician,
            columns.verdict,
            columns.reasons,
        )
        .select_from(reading.outerjoin(tables.rounds, in_round))
        .join(tables.vehicles, tables.vehicles.c.id == columns.vehicle_id)
        .where(
            columns.sort_ms >= since_ms,
            or_(columns.level_cdb.is_not(None), columns.verdict == names.DEAD),
            tables.vehicles.c.is_reference.is_(False),
        )
        .where(columns.verdict.in_((names.PASS, names.WEAK, names.DEAD)))
        .order_by(
            columns.vehicle_id, columns.at_bumper, columns.at_position, columns.class_khz, columns.sort_ms
        )
    )
    yield from connection.execute(query, execution_options={"yield_per": 5000})


def _gather(into: _Gathered, rows: Sequence[Any]) -> None:
    """Add one sensor's readings, in order of time."""
    last = rows[-1]
    into.standing.add(last.verdict, last.reasons, last.level_cdb)
    heard = [row for row in rows if row.level_cdb is not None]
    if heard:
        _gather_levels(into, heard)


def _gather_levels(into: _Gathered, rows: Sequence[Any]) -> None:
    middle_cdb = median(row.level_cdb for row in rows)
    into.medians.append(middle_cdb / 100)
    into.readings += len(rows)
    for before, after in pairwise(rows):
        is_one_visit = after.sort_ms - before.sort_ms <= SAME_VISIT_MS
        if is_one_visit and (before.probe_id, before.technician) == (after.probe_id, after.technician):
            into.differences.add(_STEPS_PER_CDB * (after.level_cdb - before.level_cdb))
    middle = round(_STEPS_PER_CDB * middle_cdb)
    for row in rows:
        residual = _STEPS_PER_CDB * row.level_cdb - middle
        into.by_probe[row.probe_id].add(residual)
        if row.technician is not None:
            into.by_technician[row.technician].add(residual)


def of_class(class_khz: int, gathered: _Gathered, risk: float, in_force_db: float | None = None) -> ClassFit:
    """Fit one class. in_force_db: its pass limit so far, None where it has none."""
    sensors = len(gathered.medians)
    histogram = histogram_of(gathered.medians)
    if sensors < SENSORS_MIN:
        warning = f"{sensors} sensors with {gathered.readings} readings are too few; at least {SENSORS_MIN} are needed"
        return ClassFit(class_khz, sensors, gathered.readings, histogram, [warning])
    healthy = robust.without_outliers(gathered.medians, SPREAD_MIN_DB)
    centre_db, spread_db = median(healthy), max(robust.mad_sigma(healthy), SPREAD_MIN_DB)
    repeat = _repeat(gathered)
    tolerance_db = centre_db - BELOW_HEALTHY_DB
    pass_db = guard.acceptance_limit_db(tolerance_db, repeat.one_reading_db, risk)
    dead_db = centre_db - DEAD_BELOW_HEALTHY_DB - guard.guard_factor(risk) * repeat.one_reading_db
    below = sum(level < pass_db for level in healthy)
    false_fail = guard.false_fail_share(pass_db, centre_db, spread_db, repeat.one_reading_db)
    would_pass = gathered.standing.would_pass(pass_db)
    above = sum(level > max(healthy) for level in gathered.medians)
    return ClassFit(
        class_khz=class_khz,
        sensors=sensors,
        readings=gathered.readings,
        histogram=histogram,
        warnings=_warnings(sensors, repeat, false_fail, would_pass),
        outliers=sensors - len(healthy),
        centre_db=centre_db,
        spread_db=spread_db,
        repeat=repeat,
        tolerance_db=tolerance_db,
        pass_db=pass_db,
        dead_db=dead_db,
        false_fail_share=false_fail,
        below_pass=below,
        below_pass_interval=guard.wilson(below, len(healthy)),
        standing=gathered.standing.sensors,
        not_passing=gathered.standing.not_passing,
        would_pass=would_pass,
        above=above,
        in_force_db=in_force_db,
        held=holding.reasons(gathered.standing, above, sensors, pass_db, in_force_db),
    )


def _repeat(gathered: _Gathered) -> Repeat:
    pairs = len(gathered.differences)
    within_db = gathered.differences.sigma_of_differences_db if pairs >= PAIRS_MIN else STATED_DB
    technician = _between(gathered.by_technician.values())
    probe = _between(gathered.by_probe.values())
    return Repeat(within_db, pairs, technician.sigma, technician.groups, probe.sigma, probe.groups)


def _between(groups: Iterable[Tally]) -> robust.Component:
    """Between groups of residuals, without those of sensors that faded or failed meanwhile."""
    return robust.between_groups([group.without_outliers(SPREAD_MIN_DB).moments for group in groups])


def _warnings(sensors: int, repeat: Repeat, false_fail: float, would_pass: int) -> list[str]:
    warnings = []
    if would_pass:
        warnings.append(
            f"TAKE CARE: {would_pass} of the sensors that stand at WEAK or DEAD for their level would PASS"
        )
    if sensors < SENSORS_GOOD:
        warnings.append(f"only {sensors} sensors; {SENSORS_GOOD} make it sound")
    if repeat.pairs < PAIRS_MIN:
        warnings.append(
            f"only {repeat.pairs} repeated readings: {STATED_DB:g} dB taken for the repeatability"
        )
    if repeat.probes < 2:
        warnings.append("one probe only: differences between probes are not in it")
    if false_fail > 0.005:
        warnings.append(f"{100 * false_fail:.1f} % of healthy sensors would need a second reading")
    return warnings


def histogram_of(levels: Iterable[float]) -> list[tuple[float, int]]:
    """(lower edge in dB, count) of bins HISTOGRAM_STEP_DB wide, gaps included."""
    counts: dict[int, int] = {}
    for level in levels:
        counts[int(level // HISTOGRAM_STEP_DB)] = counts.get(int(level // HISTOGRAM_STEP_DB), 0) + 1
    if not counts:
        return []
    return [
        (place * HISTOGRAM_STEP_DB, counts.get(place, 0)) for place in range(min(counts), max(counts) + 1)
    ]


def proposed(current: LimitSet, fit: Fit, accepted: Collection[int] = ()) -> LimitSet:
    """The current set with the fitted classes' pass and dead limits; what could not be fitted stays, and what
    is held back, unless its class is accepted.
    """
    fits = {
        row.class_khz: row
        for row in fit.classes
        if row.is_proposed or (row.class_khz in accepted and row.pass_db is not None)
    }
    classes = []
    for row in current["classes"]:
        class_fit = fits.get(row["class_khz"])
        classes.append(dict(row) if class_fit is None else _fitted_class(row, class_fit))
    made_set: LimitSet = {**current, "classes": classes}
    sets.check(made_set)
    return made_set


def _fitted_class(row: dict[str, int], class_fit: ClassFit) -> dict[str, int]:
    assert class_fit.pass_db is not None and class_fit.dead_db is not None
    dead_cdb = max(round(class_fit.dead_db * 100), row["neighbour_cdb"] + 100, settings.DEAD_LEAST_CDB)
    return {**row, "pass_cdb": round(class_fit.pass_db * 100), "dead_cdb": dead_cdb}
