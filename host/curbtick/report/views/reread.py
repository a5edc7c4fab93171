"""What is to be read again or assigned, as the pages show it, and what may be said where nothing is to do."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from curbtick.dates import date, when
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.work import reread
from curbtick.fleet.work.reread import Again, Standing
from curbtick.report.drawings import svg
from curbtick.report.views import site_map
from curbtick.report.views.places import Stands, place_words, reading_place, reasons_in_words


@dataclass(frozen=True)
class AgainView:
    """A place to be read again, or a reading to be assigned. href, vehicle_href: empty where there is no page."""

    vehicle: str
    vehicle_href: str
    where: str
    badge: Markup
    why: str
    next_words: str
    ref: str
    href: str
    when: str


@dataclass(frozen=True)
class DayWork:
    """What a day leaves to do besides its findings.

    reread: places to be read again. loose: readings without a vehicle that do not pass. passing: name and page of
    those that pass. calm: what to say where nothing at all is left, empty where something is.
    """

    reread: Sequence[AgainView]
    loose: Sequence[AgainView]
    passing: Sequence[tuple[str, str]]
    calm: str


def view(found: Again, pages: frozenset[int]) -> AgainView:
    """A place as the pages show it. pages: readings that have one."""
    place, vehicle = found.place, found.vehicle
    assert place.reading is not None
    where = place_words(place.bumper, place.position)
    href = site_map.vehicle(vehicle.id)
    return _view(
        place.reading, vehicle.name, href, where, (place.verdict, place.reasons), found.next_words, pages
    )


def _view(
    reading: Reading,
    vehicle: str,
    vehicle_href: str,
    where: str,
    stands: Stands,
    next_words: str,
    pages: frozenset[int],
) -> AgainView:
    verdict, reasons = stands
    href = site_map.reading(reading.ref) if reading.id in pages else ""
    badge, why = svg.badge(verdict), reasons_in_words(reasons)
    return AgainView(
        vehicle, vehicle_href, where, badge, why, next_words, reading.ref, href, when(reading.time_ms)
    )


def day_work(
    of_day: Sequence[Reading],
    standing: Standing,
    found: Sequence[Again],
    has_findings: bool,
    pages: frozenset[int],
) -> DayWork:
    """What a day leaves to do. found: places of the day's vehicles to be read again."""
    stays = [reading for reading in of_day if not reading.superseded]
    loose = [(r, reread.stands(r, standing)) for r in stays if r.vehicle_id is None]
    bad = [(reading, stands) for reading, stands in loose if not passes(stands)]
    passing = [reading for reading, stands in loose if passes(stands)]
    return DayWork(
        [view(one, pages) for one in found],
        [_loose(reading, stands, pages) for reading, stands in bad],
        [(r.ref, site_map.reading(r.ref) if r.id in pages else "") for r in passing],
        "" if has_findings or found or loose else calm_words(stays, standing),
    )


def passes(stands: Stands) -> bool:
    """Whether what stands of a reading is PASS."""
    verdict, _ = stands
    return verdict == "pass"


def _loose(reading: Reading, stands: Stands, pages: frozenset[int]) -> AgainView:
    on_probe = reading.values["vehicle"]
    vehicle = f"not assigned ({on_probe} on the probe)" if on_probe else "not assigned"
    next_words = "Assign to its vehicle with `curbtick assign`"
    return _view(reading, vehicle, "", reading_place(reading), stands, next_words, pages)


def calm_words(stays: Sequence[Reading], standing: Standing) -> str:
    """What is true of a day that leaves nothing to do. stays: its readings, but for those taken again."""
    if not stays:
        return "Nothing: no reading was taken on this day."
    failed = sum(not passes(reread.stands(reading, standing)) for reading in stays)
    if not failed:
        return "Nothing: every position read this day passes."
    did = (
        "1 reading of this day did not pass" if failed == 1 else f"{failed} readings of this day did not pass"
    )
    return f"Nothing is left: {did}, but the places pass by later readings, or their vehicle was retired."


def loose_counts(of_day: Sequence[Reading], standing: Standing) -> dict[str, int]:
    """A day's readings that belong to no vehicle, by the verdict that stands; those taken again do not count."""
    loose = [r for r in of_day if r.vehicle_id is None and not r.superseded]
    return dict(Counter(reread.stands(reading, standing)[0] for reading in loose))


def retired_words(states: Sequence[VehicleState]) -> list[str]:
    """What must be known of vehicles that were read although they are retired."""
    return [
        f"{state.vehicle.name} (#{state.vehicle.id}) was retired on {date(state.vehicle.retired_ms)}, yet it was read "
        "afterwards. If another vehicle has its name now, add that one and assign the readings to it; if not, "
        f"`curbtick vehicles retire '#{state.vehicle.id}'` once more takes it off this list."
        for state in states
        if state.vehicle.retired_ms is not None
    ]
