"""The fleet's work as one list, worst first, whatever it comes from: findings, places to be read again, bodies."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from curbtick.dates import date
from curbtick.fleet.leaks import Body
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.reread import Again
from curbtick.report.drawings import svg
from curbtick.report.views import site_map
from curbtick.report.views.places import FindingView, place_words, reasons_in_words

# What needs a hand first: a vehicle that is blind at a whole end, then at one position, then what may become so.
RANKS = ("not_transmitting", "dead", "weak", "body", "retry")
BODY_STEP = "Repair the place, then check the same way again"


@dataclass(frozen=True)
class Task:
    """One thing to do. href: the vehicle's page; by: who noted the last step, empty for nobody."""

    rank: int
    since_ms: int
    vehicle: str
    href: str
    where: str
    badge: Markup
    why: str
    next_words: str
    by: str

    @property
    def since(self) -> str:
        """The day since which it is to be done."""
        return date(self.since_ms)


def tasks(
    findings: Sequence[Finding],
    again: Sequence[Again],
    bodies: Mapping[int, Body],
    vehicle_names: Mapping[int, str],
) -> list[Task]:
    """What is to be done, worst first, then the oldest. findings: the open ones; bodies: by the vehicle's key."""
    found = [*map(_of_finding, findings), *map(_of_place, again)]
    for key, body in bodies.items():
        found += _of_body(key, body, vehicle_names[key])
    return sorted(found, key=lambda task: (task.rank, task.since_ms, task.vehicle.lower(), task.where))


def _of_finding(finding: Finding) -> Task:
    view = FindingView(finding)
    return Task(
        RANKS.index(finding.what),
        finding.opened_ms,
        finding.vehicle,
        site_map.vehicle(finding.vehicle_id),
        view.where,
        view.badge,
        view.why,
        view.next_words,
        view.by,
    )


def _of_place(again: Again) -> Task:
    place = again.place
    assert place.reading is not None
    return Task(
        RANKS.index(place.verdict),
        place.reading.sort_ms,
        again.vehicle.name,
        site_map.vehicle(again.vehicle.id),
        place_words(place.bumper, place.position),
        svg.badge(place.verdict),
        reasons_in_words(place.reasons),
        again.next_words,
        "",
    )


def _of_body(key: int, body: Body, name: str) -> list[Task]:
    href, rank = site_map.vehicle(key), RANKS.index("body")
    return [
        Task(rank, check.latest_ms, name, href, "body", Markup(""), check.words, BODY_STEP, "")
        for check in body.standing
    ]
