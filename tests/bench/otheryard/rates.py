"""Judgements counted: by kind, and as the rates that are bounded, each with the upper end of its interval."""

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from scipy.stats import binomtest

from tests.bench.otheryard.truth import (
    CALM,
    FALSE_ALARM,
    FALSE_DEAD,
    FALSE_PASS,
    FAULT_JUDGED,
    MISSED,
    REFUSED,
    Truth,
    judge,
)

# A kind that was drawn so often may not exceed a bound tenfold.
KIND_LEAST, KIND_TIMES = 200, 10


@dataclass
class Tally:
    """Readings of which so many went wrong."""

    wrong: int = 0
    readings: int = 0

    def add(self, wrong: bool) -> None:
        """Count one."""
        self.wrong += wrong
        self.readings += 1

    def upper(self) -> float:
        """Upper end of the Wilson 95 % interval; 1 where nothing was counted."""
        if not self.readings:
            return 1.0
        return float(binomtest(self.wrong, self.readings).proportion_ci(0.95, method="wilson").high)


@dataclass(frozen=True)
class Bound:
    """The name of a rate, and the most that the upper end of its interval may be."""

    name: str
    most: float


BUMPER_BOUNDS = (
    Bound("false pass of all that must not pass", 0.001),
    Bound("false dead of all not dead", 0.001),
    Bound("false dead where nothing transmits", 0.001),
    Bound("sound called weak or dead", 0.005),
    Bound("sound refused", 0.05),
)
LISTEN_BOUNDS = (
    Bound("false alarms", 0.01),
    Bound("missed", 0.01),
    Bound("calm where only retry is right", 0.01),
)
FAULTS = "probe faults given a verdict"


def bumper_events(truth: Truth, word: str) -> dict[str, bool]:
    """Which bounds a reading counts for, and whether it went wrong. Those apart count for the false verdicts only."""
    judgement = judge(truth, word)
    events = {}
    names = [bound.name for bound in BUMPER_BOUNDS]
    if "pass" in truth.must_not:
        events[names[0]] = judgement == FALSE_PASS
    if "dead" in truth.must_not:
        events[names[1] if truth.transmits else names[2]] = judgement == FALSE_DEAD
    if truth.fault:
        events[FAULTS] = judgement == FAULT_JUDGED
    if truth.sound and truth.apart is None:
        events[names[3]] = word in ("weak", "dead")
        if "retry" not in truth.best | truth.accepted:
            events[names[4]] = judgement == REFUSED
    return events


def listen_events(truth: Truth, word: str) -> dict[str, bool]:
    """The same for a section of the seal or hiss check."""
    judgement = judge(truth, word)
    alarms, missed, calm = (bound.name for bound in LISTEN_BOUNDS)
    events = {}
    if truth.must_not & {"leak", "hiss", "tone"}:
        events[alarms] = judgement == FALSE_ALARM
    if truth.must_not & {"tight", "quiet"}:
        only_retry = truth.best <= {"retry"}
        events[calm if only_retry else missed] = judgement in (CALM, MISSED)
    return events


@dataclass
class Rates:
    """What was counted in a run of one check."""

    bounds: tuple[Bound, ...]
    events: Any
    totals: dict[str, Tally] = field(default_factory=dict)
    kinds: dict[str, dict[str, Tally]] = field(default_factory=dict)
    judgements: dict[str, Counter[str]] = field(default_factory=dict)

    def add(self, kind: str, truth: Truth, word: str) -> str:
        """Count a verdict; returns its judgement."""
        for name, wrong in self.events(truth, word).items():
            self.totals.setdefault(name, Tally()).add(wrong)
            self.kinds.setdefault(kind, {}).setdefault(name, Tally()).add(wrong)
        judgement = judge(truth, word)
        self.judgements.setdefault(kind, Counter())[judgement] += 1
        return judgement

    def figures(self, short: bool = False) -> list[dict[str, Any]]:
        """A figure for each bound: the upper end of its interval, and whether it holds.

        short: a run too small for the upper end of an interval is held to the share itself.
        """
        figures = []
        for bound in self.bounds:
            tally = self.totals.get(bound.name, Tally())
            if short and not tally.readings:
                continue
            value = tally.wrong / tally.readings if short else tally.upper()
            figures.append(
                {"name": bound.name, "value": round(value, 5), "bound": f"<= {bound.most}"}
                | {"holds": value <= bound.most, "counted": f"{tally.wrong} of {tally.readings}"}
                | {"wilson_upper": round(tally.upper(), 5)}
            )
        if FAULTS in self.totals:
            tally = self.totals[FAULTS]
            figures.append(
                {"name": FAULTS, "value": tally.wrong, "bound": "= 0", "holds": tally.wrong == 0}
                | {"counted": f"{tally.wrong} of {tally.readings}"}
            )
        return figures

    def kinds_beyond(self) -> list[str]:
        """Kinds, drawn at least KIND_LEAST times, that exceed a bound more than tenfold."""
        most = {bound.name: bound.most for bound in self.bounds}
        return [
            f"{kind}: {name} {tally.wrong} of {tally.readings}"
            for kind, tallies in self.kinds.items()
            for name, tally in tallies.items()
            if tally.readings >= KIND_LEAST
            and tally.wrong > KIND_TIMES * most.get(name, 0.0) * tally.readings
        ]

    def by_kind(self) -> dict[str, dict[str, Any]]:
        """Each kind's judgements, and its rates: how many went wrong, of how many, and the interval's upper end."""
        return {
            kind: {
                "judged": dict(judged),
                "rates": {
                    name: [tally.wrong, tally.readings, round(tally.upper(), 5)]
                    for name, tally in self.kinds.get(kind, {}).items()
                },
            }
            for kind, judged in self.judgements.items()
        }
