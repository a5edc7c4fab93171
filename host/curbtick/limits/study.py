"""The repeatability study: attribute agreement and the level's variance components.

Several technicians read the same sensors several times. Attribute part: kappa (Cohen 1960), effectiveness,
miss rate and false-alarm rate with Wilson intervals, against the truth, by the rules commonly quoted from
the AIAG manual (from memory). Level part: two-way crossed random effects, with Satterthwaite intervals
(Satterthwaite 1946).
"""

import csv
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import sqrt
from pathlib import Path

from scipy import stats

from curbtick.errors import InputError
from curbtick.limits.guard import wilson
from curbtick.verdicts import BEST_FIRST

COLUMNS = ("run", "technician", "part", "trial", "truth", "reading", "verdict", "level_db")
# What a part can be in truth. RETRY is none: it is said of a reading.
TRUTHS = tuple(verdict for verdict in BEST_FIRST if verdict != "retry")
EFFECTIVENESS_GOOD, MISS_GOOD, FALSE_ALARM_GOOD, KAPPA_GOOD = 0.90, 0.02, 0.05, 0.75


@dataclass(frozen=True)
class Run:
    """One reading of the study.

    truth, verdict: "pass" or what is wrong.
    level_db: None where none was measured.
    """

    technician: str
    part: str
    trial: int
    truth: str
    verdict: str
    level_db: float | None


@dataclass(frozen=True)
class Share:
    """A proportion with its 95 % Wilson interval."""

    count: int
    of: int
    low_share: float
    high_share: float

    @property
    def value(self) -> float | None:
        """The proportion itself, None where nothing was tried."""
        return self.count / self.of if self.of else None


@dataclass(frozen=True)
class Appraiser:
    """How one technician agrees with the truth, and with himself.

    kappa: Cohen's kappa against the truth.
    effectiveness: runs whose verdict was right.
    miss: faulty parts that were passed.
    false_alarm: healthy parts that were not passed.
    repeats: parts that got one verdict in all trials.
    """

    technician: str
    kappa: float | None
    effectiveness: Share
    miss: Share
    false_alarm: Share
    repeats: Share


@dataclass(frozen=True)
class Component:
    """A variance component as a standard deviation in dB, with its 95 % interval."""

    sigma_db: float
    low_db: float
    high_db: float


@dataclass(frozen=True)
class Levels:
    """Variance components of the level, from the parts that every technician read equally often.

    parts, technicians, trials: the size of the table.
    repeatability: within one technician and part.
    technician: between technicians.
    interaction: of technicians with parts.
    part: between parts.
    """

    parts: int
    technicians: int
    trials: int
    repeatability: Component
    technician: Component
    interaction: Component
    part: Component

    @property
    def gauge_db(self) -> float:
        """Repeatability and reproducibility together."""
        return sqrt(
            self.repeatability.sigma_db**2 + self.technician.sigma_db**2 + self.interaction.sigma_db**2
        )


@dataclass(frozen=True)
class Study:
    """What a study says.

    between: kappa of each two technicians, by their names.
    levels: None where the cells do not allow it; the notes say why.
    notes: what was left out, a phrase each.
    """

    runs: int
    appraisers: Sequence[Appraiser]
    between: Mapping[str, float | None]
    levels: Levels | None
    notes: Sequence[str]


def plan(
    technicians: Sequence[str], parts: Mapping[str, str], trials: int, seed: int
) -> list[dict[str, str]]:
    """Runs in an order shuffled within each trial. parts: truth by part. Raises InputError."""
    if len(technicians) < 2 or len(parts) < 2 or trials < 2:
        raise InputError(
            "A study needs at least 2 technicians, 2 parts and 2 trials.",
            "Nothing was planned.",
            "10 parts or more, a third of them faulty, make it worth the while.",
        )
    rng = random.Random(seed)
    rows = []
    for trial in range(1, trials + 1):
        cells = list(product(technicians, parts))
        rng.shuffle(cells)
        rows += [(technician, part, trial) for technician, part in cells]
    return [
        dict(zip(COLUMNS, (str(run), technician, part, str(trial), parts[part], "", "", ""), strict=True))
        for run, (technician, part, trial) in enumerate(rows, 1)
    ]


def write_plan(rows: Sequence[Mapping[str, str]], path: Path) -> None:
    """Write a plan as CSV."""
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, COLUMNS)
        writer.writeheader()
        writer.writerows(rows)


def read_plan(path: Path) -> list[dict[str, str]]:
    """The rows of a plan, filled in or not. Raises InputError."""
    try:
        with path.open(newline="", encoding="utf-8-sig") as source:
            rows = list(csv.DictReader(source))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path} cannot be read: {error}.", "Nothing was evaluated.", "Check the file."
        ) from error
    if not rows or set(COLUMNS) - set(rows[0]):
        columns = ", ".join(COLUMNS)
        raise InputError(
            f"{path} is no plan of a study.", "Nothing was evaluated.", f"It needs the columns {columns}."
        )
    return rows


def read_runs(path: Path) -> tuple[list[Run], int]:
    """(runs that were read, cells still empty) of a filled plan. Raises InputError naming the line at
    fault.
    """
    rows = read_plan(path)
    filled = [(line, row) for line, row in enumerate(rows, 2) if row["verdict"]]
    return [_run(path, line, row) for line, row in filled], len(rows) - len(filled)


def _run(path: Path, line: int, row: Mapping[str, str]) -> Run:
    try:
        if row["verdict"] not in BEST_FIRST or row["truth"] not in BEST_FIRST:
            raise ValueError(f"verdict and truth must be one of {', '.join(BEST_FIRST)}")
        level = float(row["level_db"]) if row["level_db"] else None
        return Run(row["technician"], row["part"], int(row["trial"]), row["truth"], row["verdict"], level)
    except ValueError as error:
        raise InputError(
            f"Line {line} of {path} makes no sense: {error}.", "Nothing was evaluated.", "Correct the line."
        ) from error


def evaluate(runs: Sequence[Run], empty_cells: int = 0) -> Study:
    """Evaluate the runs of a study. Raises InputError where there are none."""
    if not runs:
        raise InputError(
            "No run of the study was read yet.",
            "Nothing was evaluated.",
            "Read the parts in the plan's order.",
        )
    technicians = sorted({run.technician for run in runs})
    notes = [f"{empty_cells} cells of the plan are empty and were left out"] if empty_cells else []
    levels, why_not = _levels(runs, technicians)
    between = {f"{a} and {b}": _kappa_between(runs, a, b) for a, b in combinations(technicians, 2)}
    appraisers = [appraise(name, [run for run in runs if run.technician == name]) for name in technicians]
    return Study(len(runs), appraisers, between, levels, notes + why_not)


def _good(verdict: str) -> bool:
    return verdict == "pass"


def appraise(technician: str, runs: Sequence[Run]) -> Appraiser:
    """One technician against the truth; a RETRY is neither a miss nor a false alarm, but not effective
    either.
    """
    pairs = [(_good(run.truth), _good(run.verdict)) for run in runs if run.verdict != "retry"]
    right = sum(truth == verdict for truth, verdict in pairs)
    faulty = [verdict for truth, verdict in pairs if not truth]
    healthy = [verdict for truth, verdict in pairs if truth]
    by_part: dict[str, set[bool]] = {}
    for run in runs:
        by_part.setdefault(run.part, set()).add(_good(run.verdict))
    return Appraiser(
        technician,
        kappa(pairs),
        _share(right, len(runs)),
        _share(sum(faulty), len(faulty)),
        _share(len(healthy) - sum(healthy), len(healthy)),
        _share(sum(len(verdicts) == 1 for verdicts in by_part.values()), len(by_part)),
    )


def _share(count: int, of: int) -> Share:
    return Share(count, of, *wilson(count, of))


def kappa(pairs: Sequence[tuple[object, object]]) -> float | None:
    """Cohen's kappa of two raters' verdicts; None where chance alone would agree always."""
    if not pairs:
        return None
    total = len(pairs)
    agreed = sum(a == b for a, b in pairs) / total
    words = {word for pair in pairs for word in pair}
    by_chance = sum(sum(a == word for a, _ in pairs) * sum(b == word for _, b in pairs) for word in words) / (
        total * total
    )
    return None if by_chance == 1 else (agreed - by_chance) / (1 - by_chance)


def _kappa_between(runs: Sequence[Run], a: str, b: str) -> float | None:
    """Kappa between two technicians over the cells that both read."""
    of = {(run.technician, run.part, run.trial): _good(run.verdict) for run in runs}
    cells = {(run.part, run.trial) for run in runs}
    pairs = [
        (of[a, part, trial], of[b, part, trial])
        for part, trial in cells
        if (a, part, trial) in of and (b, part, trial) in of
    ]
    return kappa(pairs)


def _levels(runs: Sequence[Run], technicians: Sequence[str]) -> tuple[Levels | None, list[str]]:
    cells: dict[tuple[str, str], list[float]] = {}
    for run in runs:
        if run.level_db is not None:
            cells.setdefault((run.part, run.technician), []).append(run.level_db)
    parts = sorted({part for part, _ in cells})
    trials = max((len(levels) for levels in cells.values()), default=0)
    whole = [
        part for part in parts if all(len(cells.get((part, name), ())) == trials for name in technicians)
    ]
    notes = []
    if len(whole) < len({run.part for run in runs}):
        gone = len({run.part for run in runs}) - len(whole)
        notes.append(f"{gone} parts lack a level in some cell and are left out of the variance components")
    if len(whole) < 2 or len(technicians) < 2 or trials < 2:
        return None, [*notes, "too few complete cells for variance components"]
    table = [[cells[part, name] for name in technicians] for part in whole]
    return crossed(table), notes


def crossed(table: Sequence[Sequence[Sequence[float]]]) -> Levels:
    """Variance components of a balanced table, parts x technicians x trials (each at least 2).

    Method of moments on the expected mean squares of the two-way crossed random model (Montgomery, Design
    and Analysis of Experiments; Burdick, Borror & Montgomery 2003).
    """
    first_part = table[0]
    p, o, n = len(table), len(first_part), len(first_part[0])
    cell = [[sum(values) / n for values in row] for row in table]
    part_mean = [sum(row) / o for row in cell]
    by_technician = [sum(row[j] for row in cell) / p for j in range(o)]
    grand = sum(part_mean) / p
    ms_part = o * n * sum((m - grand) ** 2 for m in part_mean) / (p - 1)
    ms_tech = p * n * sum((m - grand) ** 2 for m in by_technician) / (o - 1)
    ms_both = (
        n
        * sum((cell[i][j] - part_mean[i] - by_technician[j] + grand) ** 2 for i in range(p) for j in range(o))
        / ((p - 1) * (o - 1))
    )
    ms_error = sum((value - cell[i][j]) ** 2 for i in range(p) for j in range(o) for value in table[i][j]) / (
        p * o * (n - 1)
    )
    d_part, d_tech, d_both, d_error = p - 1, o - 1, (p - 1) * (o - 1), p * o * (n - 1)
    return Levels(
        p,
        o,
        n,
        _error_component(ms_error, d_error),
        _difference_component(1 / (p * n), (ms_tech, d_tech), (ms_both, d_both)),
        _difference_component(1 / n, (ms_both, d_both), (ms_error, d_error)),
        _difference_component(1 / (o * n), (ms_part, d_part), (ms_both, d_both)),
    )


def _error_component(square: float, degrees: int) -> Component:
    """A mean square with its exact chi-square interval."""
    low, high = (square * degrees / float(stats.chi2.ppf(share, degrees)) for share in (0.975, 0.025))
    return Component(sqrt(square), sqrt(low), sqrt(high))


def _difference_component(factor: float, more: tuple[float, int], less: tuple[float, int]) -> Component:
    """factor x (one mean square less another), with the modified large-sample interval, never below 0.

    Ting, Burdick, Graybill, Jeyaratnam & Lu, J. Statist. Comput. Simul. 35 (1990), 135-143, in the form of
    Burdick, Borror & Montgomery (2003); formula from memory, its coverage is tested.
    """
    (s1, n1), (s2, n2) = more, less
    difference = s1 - s2
    down = _spread(s1, s2, _g(n1), _h(n2), _cross(n1, n2, 0.975))
    up = _spread(s1, s2, _h(n1), _g(n2), _cross(n1, n2, 0.025))
    return Component(
        sqrt(factor * max(difference, 0.0)),
        sqrt(factor * max(difference - sqrt(down), 0.0)),
        sqrt(factor * max(difference + sqrt(up), 0.0)),
    )


def _spread(s1: float, s2: float, k1: float, k2: float, cross: float) -> float:
    return max((k1 * s1) ** 2 + (k2 * s2) ** 2 + cross * s1 * s2, 0.0)


def _g(degrees: int) -> float:
    return 1 - degrees / float(stats.chi2.ppf(0.975, degrees))


def _h(degrees: int) -> float:
    return degrees / float(stats.chi2.ppf(0.025, degrees)) - 1


def _cross(n1: int, n2: int, share: float) -> float:
    """The factor of the product term for the lower (share 0.975) or the upper bound (0.025)."""
    f = float(stats.f.ppf(share, n1, n2))
    k1, k2 = (_g(n1), _h(n2)) if share > 0.5 else (_h(n1), _g(n2))
    return float(((f - 1) ** 2 - (k1 * f) ** 2 - k2**2) / f)
