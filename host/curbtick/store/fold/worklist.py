"""The fold of a vehicle's work list: from its readings in order, and the steps noted on them, to its findings.

A finding opens with a reading that is WEAK or DEAD, or with a bumper that does not transmit; later bad readings belong
to it. It is done when a repairing step is noted on it and no later reading belies that, and proved by a PASS that was
surely taken after the reading that opened it and after each repair. Nothing here knows the time of day, or a database.
"""

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from curbtick.store import keys

OPEN, DONE, PROVED = "open", "done", "proved"
SILENT = "not_transmitting"
REPAIRS = frozenset(("clean", "replace", "repair", "conditions", "fuse", "module", "fault_memory"))
WHOLE = 0
_FAULTS, _HEARD = ("weak", "dead"), ("pass", "weak")

Place = tuple[int, int]
"""Bumper and position; position 0 is the whole bumper."""


@dataclass(frozen=True)
class Taken:
    """A reading at a place. reasons: as a mask. It was taken between earliest_ms and sort_ms."""

    id: int
    place: Place
    verdict: str
    reasons: int
    sort_ms: int
    earliest_ms: int
    is_superseded: bool

    def is_after(self, other: "Taken") -> bool:
        """Whether it was surely taken after another one."""
        if keys.log_of(self.id) == keys.log_of(other.id):
            return self.id > other.id
        return self.earliest_ms > other.sort_ms


@dataclass(frozen=True)
class Summed:
    """A bumper result. by_reading: verdict and reasons that it gave to each reading, by the reading's key."""

    id: int
    sort_ms: int
    is_silent: bool
    by_reading: Mapping[int, tuple[str, int]]


Event = Taken | Summed


@dataclass(frozen=True)
class Step:
    """A step noted on the finding of a reading. last_id: the newest reading of the place that the writer knew."""

    id: int
    place: Place
    reading_id: int
    step: str
    at_ms: int
    last_id: int | None

    def knew(self, reading: Taken) -> bool:
        """Whether whoever noted it knew a reading, so that it was taken before."""
        if self.last_id is None or keys.log_of(self.last_id) != keys.log_of(reading.id):
            return False
        return reading.id <= self.last_id


@dataclass
class Finding:
    """What is wrong at a place. faults: the readings that said so, the one that opened it first."""

    place: Place
    opener: Taken
    what: str
    reasons: int
    faults: list[Taken] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    proof: Taken | None = None

    @property
    def state(self) -> str:
        """OPEN, DONE or PROVED."""
        if self.proof is not None:
            return PROVED
        return DONE if any(self._stands(repair) for repair in self._repairs) else OPEN

    @property
    def _repairs(self) -> Iterator[Step]:
        return (step for step in self.steps if step.step in REPAIRS)

    def _stands(self, repair: Step) -> bool:
        """Whether no reading after a repair says that it was of no use."""
        return all(repair.knew(fault) or fault.sort_ms <= repair.at_ms for fault in self.faults)

    def is_proved_by(self, reading: Taken) -> bool:
        """Whether a reading was surely taken after the opener and each repair; one noted in its knowledge is later."""
        if not reading.is_after(self.opener):
            return False
        return all(repair.knew(reading) or repair.at_ms < reading.earliest_ms for repair in self._repairs)


class WorkList:
    """The findings of one vehicle.

    from_ms: by place, from which time on its readings are folded; what is not named is folded from `rest_ms` on.
    """

    def __init__(
        self, steps: Iterable[Step], from_ms: Mapping[Place, int] | None = None, rest_ms: int = 0
    ) -> None:
        self._steps: dict[tuple[Place, int], list[Step]] = {}
        for step in sorted(steps, key=lambda one: (one.at_ms, one.id)):
            self._steps.setdefault((step.place, step.reading_id), []).append(step)
        self._from_ms, self._rest_ms = from_ms or {}, rest_ms
        self._newest: dict[Place, Taken] = {}
        self._standing: dict[Place, Finding] = {}
        self.findings: list[Finding] = []

    def fold(self, events: Iterable[Event]) -> Sequence[Finding]:
        """Take in readings and bumper results, in order; returns the findings."""
        for event in events:
            if isinstance(event, Taken):
                self._take(event)
            else:
                self._sum(event)
        return self.findings

    def _take(self, reading: Taken) -> None:
        self._newest[reading.place] = reading
        self._judge(reading, reading.verdict, reading.reasons)
        whole = self._standing.get((reading.place[0], WHOLE))
        if whole is not None and reading.verdict in _HEARD and whole.is_proved_by(reading):
            self._prove(whole, reading)

    def _sum(self, result: Summed) -> None:
        named = [one for one in self._newest.values() if one.id in result.by_reading]
        for reading in named:
            self._judge(reading, *result.by_reading[reading.id])
        if result.is_silent:
            for bumper in sorted({reading.place[0] for reading in named}):
                here = [one for one in self._newest.values() if one.place[0] == bumper]
                self._fault((bumper, WHOLE), max(here, key=lambda one: (one.sort_ms, one.id)), SILENT, 0)

    def _judge(self, reading: Taken, verdict: str, reasons: int) -> None:
        if reading.is_superseded:
            return
        if verdict in _FAULTS:
            self._fault(reading.place, reading, verdict, reasons)
            return
        finding = self._standing.get(reading.place)
        if verdict == "pass" and finding is not None and finding.is_proved_by(reading):
            self._prove(finding, reading)

    def _fault(self, place: Place, reading: Taken, what: str, reasons: int) -> None:
        if reading.sort_ms < self._from_ms.get(place, self._rest_ms):
            return
        finding = self._standing.get(place)
        if finding is None:
            finding = Finding(place, reading, what, reasons)
            self._standing[place] = finding
            self.findings.append(finding)
        finding.what, finding.reasons = what, reasons
        if all(fault.id != reading.id for fault in finding.faults):
            finding.faults.append(reading)
            finding.steps += self._steps.get((place, reading.id), ())

    def _prove(self, finding: Finding, reading: Taken) -> None:
        finding.proof = reading
        del self._standing[finding.place]


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events as they count: each log's in its own order, and of the logs' next ones the one of the least time."""
    logs: dict[int, list[Event]] = {}
    for event in events:
        logs.setdefault(keys.log_of(event.id), []).append(event)
    waiting = [sorted(log, key=lambda one: -one.id) for log in logs.values()]
    heads = [(log[-1].sort_ms, log[-1].id, place) for place, log in enumerate(waiting)]
    heapq.heapify(heads)
    made: list[Event] = []
    while heads:
        _, _, place = heapq.heappop(heads)
        made.append(waiting[place].pop())
        if waiting[place]:
            following = waiting[place][-1]
            heapq.heappush(heads, (following.sort_ms, following.id, place))
    return made


def is_monotone(events: Iterable[Event]) -> bool:
    """Whether in each log no event is earlier than one before it, as where no clock was set back."""
    last: dict[int, Event] = {}
    for event in sorted(events, key=lambda one: one.id):
        log = keys.log_of(event.id)
        if log in last and event.sort_ms < last[log].sort_ms:
            return False
        last[log] = event
    return True
