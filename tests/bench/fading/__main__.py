"""Fading sensors are found, steady ones are not: `python -m tests.bench.fading --json [--seed N] [--short]`.

Invented fleets of 4,000 sensors (worlds.py) are given to the judge of `curbtick.fleet.fading`, which sees
levels, times and probes alone. Bounds: of the sensors that fade by 3 dB in six months in white noise at least 90 %
are found, and at most 10 % of those listed are false; in steady fleets of each world at most 1 % is listed. In the full
form the 95 % interval's end must keep the bound; the short form has too few sensors for that, and fails only if the
interval's other end breaks it. Fading within disturbed fleets, and steady fleets with all disturbances at once, are
reported without a bound. A judge from the textbook (reference.py) judges the same fleets.

`--judge every-falling` and `--judge nobody` show that the bounds can be broken.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.bench._common import arguments, figure, report
from tests.bench.fading import reference
from tests.bench.fading.calendar import Flags, Integers
from tests.bench.fading.judges import JUDGES, Judge
from tests.bench.fading.shares import Share, together
from tests.bench.fading.worlds import (
    ALL_AT_ONCE,
    DISTURBED,
    HALF_YEAR,
    SENSORS,
    SHAPES,
    WHITE,
    World,
    make,
)

YEAR = 2 * HALF_YEAR
FOUND_LEAST, FALSE_MOST, STEADY_MOST = 0.9, 0.1, 0.01
FLEETS, STEADY_FLEETS, REPORTED_FLEETS = 10, 6, 3
REFERENCE = "reference"


@dataclass(frozen=True)
class Run:
    """Fleets of one kind: a world, how long it has been read, whether 1 % fades at its end."""

    world: World
    weeks: int
    fades: bool
    fleets: int


@dataclass
class Verdicts:
    """What one judge lists of a run's fleets."""

    shapes: list[Integers] = field(default_factory=list)  # the truth of each fleet, as Fleet.shape
    listed: list[Flags] = field(default_factory=list)

    def found(self, shape: int | None = None) -> Share:
        """Listed of those that fade, in one shape or any."""
        asked = [truth >= 0 if shape is None else truth == shape for truth in self.shapes]
        pairs = list(zip(self.listed, asked, strict=True))
        return Share(tuple(int((ls & a).sum()) for ls, a in pairs), tuple(int(a.sum()) for a in asked))

    def false(self) -> Share:
        """Those that do not fade, of those listed."""
        pairs = zip(self.listed, self.shapes, strict=True)
        hits = tuple(int((ls & (truth < 0)).sum()) for ls, truth in pairs)
        return Share(hits, tuple(int(ls.sum()) for ls in self.listed))

    def of_all(self) -> Share:
        """Listed of all sensors."""
        return Share(tuple(int(ls.sum()) for ls in self.listed), (SENSORS,) * len(self.listed))


Results = dict[Run, dict[str, Verdicts]]


def runs(short: bool) -> Iterator[Run]:
    """The fleets to judge. Steady ones are read for half a year or for a whole one."""
    fleets, steady, reported = (1, 1, 1) if short else (FLEETS, STEADY_FLEETS, REPORTED_FLEETS)
    yield Run(WHITE, HALF_YEAR, True, fleets)
    for world in (WHITE, *DISTURBED):
        yield Run(world, HALF_YEAR, False, steady)
        if not short:
            yield Run(world, YEAR, False, reported)
    for world in (*DISTURBED, ALL_AT_ONCE):
        yield Run(world, HALF_YEAR, True, reported)
    yield Run(WHITE, YEAR, True, reported)
    yield Run(ALL_AT_ONCE, HALF_YEAR, False, reported)


class Clock:
    """How fast a judge is over half a year's readings."""

    def __init__(self) -> None:
        self.sensors, self.seconds = 0, 0.0

    def add(self, run: Run, seconds: float) -> None:
        if run.weeks == HALF_YEAR:
            self.sensors += SENSORS
            self.seconds += seconds

    def rate(self) -> int | None:
        """Sensors a second; None for a judge that is not timed."""
        return round(self.sensors / self.seconds) if self.seconds else None


def play(short: bool, seed: int, name: str, judge: Judge, clock: Clock) -> Results:
    """Both judges over every fleet."""
    results: Results = {}
    for number, run in enumerate(runs(short)):
        results[run] = {name: Verdicts(), REFERENCE: Verdicts()}
        for fleet_number in range(run.fleets):
            fleet = make(run.world, run.weeks, run.fades, np.random.default_rng([seed, number, fleet_number]))
            listed, seconds = judge(fleet.readings)
            clock.add(run, seconds)
            for who, flags in ((name, listed), (REFERENCE, reference.judge(fleet.readings))):
                results[run][who].shapes.append(fleet.shape)
                results[run][who].listed.append(flags)
    return results


def shares(results: Results, who: str) -> dict[str, tuple[Share, str, float]]:
    """The shares with a bound: its sense, `>=` or `<=`, and its value."""
    bounded = {}
    (main,) = (v[who] for run, v in results.items() if run == _main_run(results))
    bounded["fading by 3 dB: found"] = (main.found(), ">=", FOUND_LEAST)
    bounded["fading by 3 dB: false of those listed"] = (main.false(), "<=", FALSE_MOST)
    for world in (WHITE, *DISTURBED):
        steady = [v[who].of_all() for run, v in results.items() if run.world == world and not run.fades]
        bounded[f"steady, {world.name}: listed"] = (together(steady), "<=", STEADY_MOST)
    return bounded


def _main_run(results: Results) -> Run:
    return next(run for run in results if run.fades)


def bounded_figure(name: str, share: Share, sense: str, bound: float, short: bool) -> dict[str, Any]:
    """A share beside its bound: proved by its interval, or in the short form not disproved."""

    def proved(interval: tuple[float, float]) -> bool:
        return interval[0] >= bound if sense == ">=" else interval[1] <= bound

    interval = share.interval()
    turned = (interval[1], interval[0]) if short else interval
    end = "lower" if sense == ">=" else "upper"
    words = (
        f"{sense} {bound:g}, not disproved" if short else f"{end} end of the 95 % interval {sense} {bound:g}"
    )
    return {
        **figure(name, round(share.value, 5), words, proved(turned)),
        **shown(share),
        "fleets_needed": share.fleets_needed(proved),
    }


def shown(share: Share) -> dict[str, Any]:
    """A share as the JSON line has it."""
    low, high = share.interval()
    return {
        "share": round(share.value, 5),
        "hits": sum(share.hits),
        "of": sum(share.of),
        "interval": [round(low, 5), round(high, 5)],
        "design_effect": round(share.design_effect, 1),
        "highest_of_a_fleet": round(share.highest, 5),
    }


def unbounded(results: Results, who: str) -> dict[str, Any]:
    """The shares without a bound."""
    told: dict[str, Any] = {}
    for shape, name in enumerate(SHAPES):
        told[f"fading by 3 dB, {name}: found"] = shown(results[_main_run(results)][who].found(shape))
    for run, verdicts in list(results.items())[1:]:
        named = run.world.name + (" after half a steady year" if run.weeks == YEAR else "")
        if run.fades:
            told[f"fading, {named}: found"] = shown(verdicts[who].found())
            told[f"fading, {named}: false of those listed"] = shown(verdicts[who].false())
        else:
            told[f"steady, {run.world.name}, {run.weeks} weeks: listed"] = shown(verdicts[who].of_all())
    return told


def main() -> None:
    options = arguments(__doc__ or "", ("--judge", {"choices": JUDGES, "default": "ours"}))
    clock = Clock()
    name = options.judge
    results = play(options.short, options.seed, name, JUDGES[name], clock)
    figures = [bounded_figure(title, *bound, options.short) for title, bound in shares(results, name).items()]
    beside = {title: shown(bound[0]) for title, bound in shares(results, REFERENCE).items()}
    report(
        figures,
        options,
        judge=name,
        without_bound=unbounded(results, name),
        reference={**beside, **unbounded(results, REFERENCE)},
        sensors_judged_a_second=clock.rate(),
    )


if __name__ == "__main__":
    main()
