"""What the pages show of readings, findings and vehicles: words and drawings, ready for the templates."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from curbtick_wire import names
from markupsafe import Markup

from curbtick.dates import date, local, when
from curbtick.fleet.leaks import NO_BODY, Body
from curbtick.fleet.places.state import Place, VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.work import past, plans
from curbtick.fleet.work.findings import Finding, Noted
from curbtick.limits.sets import LimitSet
from curbtick.report.drawings import svg
from curbtick.report.views import site_map

# A verdict and its reasons.
Stands = tuple[str, Sequence[str]]

REASON_WORDS = {
    "low_level": "level too low",
    "off_frequency": "off frequency",
    "irregular": "bursts missing",
    "odd_ringdown": "odd ring-down",
    "below_siblings": "well below the others on its bumper",
    "only_neighbour": "only a neighbour was heard",
    "nothing_heard": "nothing heard",
    "noisy": "too noisy to tell",
    "clipped": "too loud for the lowest gain",
    "microphone_fault": "the probe's microphone is at fault",
    "too_few_bursts": "too few bursts",
    "not_a_burst": "not a sensor's sound",
    "moved": "the probe was moved",
    "battery_low": "the probe's battery is low",
    "log_full": "the probe's log is full",
    "clock_unknown": "the probe's clock is not known",
    "not_transmitting": "the system does not transmit",
    "no_reference": "the free reference is not confirmed",
    "reference_changed": "the reference changed meanwhile",
    "tone_lost": "the tone was lost: a reference heard afterwards would settle it",
    "no_background": "no background was taken",
    "gusty": "too gusty to tell",
    "too_short": "the section was too short",
    "samples_lost": "the probe lost samples, or served a bench meanwhile: read again; if it comes back, restart the "
    "probe and report it",
    "timing_unknown": "level and frequency are fine, but the timing is not understood",
    "starts_or_stops": "the system started or stopped during the reading: read again",
}


def reasons_in_words(reasons: Sequence[str]) -> str:
    """Reason ids as a phrase."""
    return ", ".join(REASON_WORDS[reason] for reason in reasons)


def place_words(bumper: int, position: int) -> str:
    """Where on a vehicle, such as `rear 3`; position 0 is the whole bumper."""
    return f"{names.BUMPERS[bumper]} {position}" if position else f"{names.BUMPERS[bumper]} bumper"


def reading_place(reading: Reading) -> str:
    """Where a reading was taken; one taken without a round has no position."""
    return place_words(reading.bumper, reading.position) if reading.position else "no position"


def number(value: float | None, digits: int, per_unit: float = 1) -> str:
    """A number to so many digits, empty where there is none."""
    return "" if value is None else f"{value / per_unit:.{digits}f}"


def only_neighbour(reading: Reading) -> bool:
    """Whether what was measured is a neighbour's: of this position's own sensor nothing was heard."""
    return "only_neighbour" in reading.reasons


def own_level_db(reading: Reading) -> float | None:
    """Level of the position's own sensor in dBFS, None where none was heard."""
    return None if only_neighbour(reading) else reading.level_db


def _neighbours_words(reading: Reading) -> str:
    """How loud the neighbour was, where it was all that was heard."""
    if not only_neighbour(reading) or reading.level_db is None:
        return ""
    return f" ({number(reading.level_db, 1)} dBFS)"


@dataclass(frozen=True)
class ReadingRow:
    """A reading as a table's row. href and vehicle_href are empty where there is no page."""

    ref: str
    href: str
    vehicle: str
    vehicle_href: str
    place: str
    badge: Markup
    level: str
    strip: Markup
    frequency: str
    interval: str
    why: str
    when: str
    time: str
    superseded: bool


def reading_row(
    reading: Reading,
    vehicle_names: Mapping[int, str],
    limit_sets: Mapping[int, LimitSet],
    pages: frozenset[int],
    stands: Stands | None = None,
) -> ReadingRow:
    """A reading as a row. stands: what a bumper result put in place of the probe's own verdict."""
    verdict, reasons = stands or (reading.verdict, reading.reasons)
    limits = past.limits_of(reading, limit_sets)
    changed = f" (shown as {svg.WORDS[reading.verdict]})" if verdict != reading.verdict else ""
    vehicle_id, level_db = reading.vehicle_id, own_level_db(reading)
    own: Mapping[str, float | None] = {} if only_neighbour(reading) else reading.values
    return ReadingRow(
        reading.ref,
        site_map.reading(reading.ref) if reading.id in pages else "",
        "not assigned" if vehicle_id is None else vehicle_names.get(vehicle_id, f"#{vehicle_id}"),
        "" if vehicle_id is None else site_map.vehicle(vehicle_id),
        reading_place(reading),
        svg.badge(verdict),
        number(level_db, 1),
        svg.strip(level_db, *limits_db(limits), verdict),
        number(own.get("frequency_hz"), 2, 1000),
        number(own.get("interval_us"), 1, 1000),
        reasons_in_words(reasons) + _neighbours_words(reading) + changed,
        when(reading.time_ms),
        "date unknown" if reading.time_ms is None else local(reading.time_ms).strftime("%H:%M"),
        reading.superseded,
    )


class LimitsDb(NamedTuple):
    """The pass and dead limits in dBFS that a reading was judged by, None where not known."""

    pass_db: float | None
    dead_db: float | None


NO_LIMITS = LimitsDb(None, None)


def limits_db(limits: Mapping[str, int] | None) -> LimitsDb:
    """The limits of a class in dBFS."""
    return NO_LIMITS if limits is None else LimitsDb(limits["pass_cdb"] / 100, limits["dead_cdb"] / 100)


@dataclass(frozen=True)
class VehicleView:
    """A vehicle as the pages show it."""

    state: VehicleState
    pages: frozenset[int]
    body: Body = NO_BODY

    @property
    def marks(self) -> list[str]:
        """What the seal and hiss checks found on its body, in a word or two each."""
        return self.body.marks

    @property
    def name(self) -> str:
        """The vehicle's name."""
        return self.state.vehicle.name

    @property
    def href(self) -> str:
        """The vehicle's page."""
        return site_map.vehicle(self.state.vehicle.id)

    @property
    def type(self) -> str:
        """What kind of vehicle it is, empty where not known."""
        return self.state.vehicle.type or ""

    @property
    def badge(self) -> Markup:
        """What it says, drawn."""
        return svg.badge(self.state.worst)

    @property
    def fitted(self) -> list[int]:
        """Numbers of the bumpers that carry sensors."""
        return [number for number in range(len(names.BUMPERS)) if self.state.at(number)]

    def drawing(self, bumper: int) -> Markup:
        """The bumper as seen facing it."""
        dots = [self._dot(place) for place in self.state.at(bumper)]
        return svg.bumper(names.BUMPERS[bumper], dots, bumper in self.state.silent_bumpers)

    def _dot(self, place: Place) -> svg.Dot:
        reading = place.reading
        label = "" if reading is None else number(own_level_db(reading), 1)
        href = site_map.reading(reading.ref) if reading is not None and reading.id in self.pages else ""
        return svg.Dot(place.position, place.verdict, label, href)


@dataclass(frozen=True)
class PlanStep:
    """A planned step on a page; done is the date it was done, empty where it was not."""

    id: str
    words: str
    done: str
    next: bool


@dataclass(frozen=True)
class FindingView:
    """A finding as the pages show it."""

    finding: Finding

    @property
    def vehicle_id(self) -> int:
        """The vehicle's key."""
        return self.finding.vehicle_id

    @property
    def vehicle(self) -> str:
        """The vehicle's name."""
        return self.finding.vehicle

    @property
    def where(self) -> str:
        """Position in words."""
        return place_words(self.finding.bumper, self.finding.position)

    @property
    def badge(self) -> Markup:
        """What it says, drawn."""
        return svg.badge(self.finding.what)

    @property
    def why(self) -> str:
        """Reasons in words."""
        return reasons_in_words(self.finding.reasons)

    @property
    def next_words(self) -> str:
        """The next step in words."""
        return self.finding.next_words

    @property
    def state(self) -> str:
        """open, done or proved."""
        return self.finding.state

    @property
    def is_silent(self) -> bool:
        """Whether it is about a bumper that does not transmit."""
        return self.finding.what == "not_transmitting"

    @property
    def proof(self) -> str:
        """The reading that proved it, in words."""
        return f"by a reading of {when(self.finding.proved_ms)}" if self.finding.proved_ms else ""

    @property
    def since(self) -> str:
        """When it was opened."""
        return date(self.finding.opened_ms)

    @property
    def plan(self) -> list[PlanStep]:
        """The planned steps, each with when it was done."""
        done = {step.step: step.at_ms for step in self.finding.steps}
        following = self.finding.next_step
        return [
            PlanStep(
                step.id, step.words, date(done[step.id]) if step.id in done else "", step.id == following
            )
            for step in self.finding.plan
        ]

    @property
    def offered(self) -> list[PlanStep]:
        """What a person can note on it: the planned steps but for the reading, and a mere note."""
        following = self.finding.next_step
        steps = (*self.finding.may_be_noted, plans.NOTE)
        return [PlanStep(step.id, step.words, "", step.id == following) for step in steps]

    @property
    def by(self) -> str:
        """Who noted the last step, empty for nobody."""
        return next((step.by for step in reversed(self.finding.steps) if step.by), "")

    @property
    def notes(self) -> list[str]:
        """What was noted on it, in words."""
        return [
            f"{date(step.at_ms)} {_step_words(step)}: {step.note or ''} {step.by or ''}".strip()
            for step in self.finding.steps
            if step.note
        ]


def _step_words(step: Noted) -> str:
    """A step in words; one of a newer program, noted at another bench, by its id."""
    return plans.STEP_WORDS.get(step.step, step.step)
