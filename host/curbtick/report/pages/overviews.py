"""One function for each page: from what the history says to the page's text."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from typing import Any

from curbtick_wire import names
from jinja2 import Environment, PackageLoader, select_autoescape
from markupsafe import Markup

from curbtick.cautions import CAUTIONS, HISS_NOTE
from curbtick.dates import date, when
from curbtick.fleet.leaks import NO_BODY, Body
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.places.trend import Trend
from curbtick.fleet.probes.health import Health
from curbtick.fleet.readings import Reading
from curbtick.fleet.work import past
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.past import PlaceHistory
from curbtick.fleet.work.reread import Again
from curbtick.limits import sets
from curbtick.limits.sets import LimitSet
from curbtick.report.drawings import svg
from curbtick.report.views import fading as fading_views
from curbtick.report.views import places as views
from curbtick.report.views import reread
from curbtick.report.views.leaks import BodyLine, LeakViews, body_view
from curbtick.report.views.places import FindingView, VehicleView
from curbtick.report.views.reread import DayWork

WORST_FIRST = ("not_transmitting", "dead", "weak", "retry", "unread", "pass")


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("curbtick.report"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["badge"] = svg.badge
    made.globals["cautions"] = " ".join(CAUTIONS)
    made.globals["hiss_note"] = HISS_NOTE
    made.globals["style"] = Markup(_text("style.css"))
    return made


def _text(name: str) -> str:
    return files("curbtick.report").joinpath(name).read_text(encoding="utf-8")


ENVIRONMENT = _environment()


class Site:
    """What every page needs: the probes' health, the limit sets, the vehicles' names, which readings have a
    page, what the seal and hiss checks say of the vehicles' bodies.
    """

    def __init__(
        self,
        now_ms: int,
        health: Sequence[Health],
        limit_sets: Mapping[int, LimitSet],
        vehicle_names: Mapping[int, str],
        pages: frozenset[int],
        day: str = "",
        bodies: Mapping[int, Body] | None = None,
    ) -> None:
        self.now_ms = now_ms
        self.health = health
        self.limit_sets = limit_sets
        self.vehicle_names = vehicle_names
        self.pages = pages
        self.day = day
        self._bodies = bodies or {}
        self.is_live = False
        self._limits_db: dict[tuple[int, int], tuple[float | None, float | None]] = {}

    def render(self, template: str, here: str, probe_ids: Iterable[int], **values: Any) -> str:
        """A page; probe_ids are the probes whose readings stand on it, so that a doubtful one is flagged."""
        used = set(probe_ids)
        flags = [
            {"name": probe.name, "words": words}
            for probe in self.health
            if probe.probe_id in used
            for words in probe.flags
        ]
        return ENVIRONMENT.get_template(template).render(
            here=here, live=self.is_live, flags=flags, made=when(self.now_ms), day=self.day, **values
        )

    def limits_db(self, reading: Reading) -> tuple[float | None, float | None]:
        """(pass, dead) limits in dBFS that a reading was judged by, None where not known."""
        judged_by = reading.values["limits_revision"], reading.class_khz
        if judged_by not in self._limits_db:
            self._limits_db[judged_by] = views.limits_db(past.limits_of(reading, self.limit_sets))
        return self._limits_db[judged_by]

    def view(self, state: VehicleState) -> VehicleView:
        """A vehicle as the pages show it."""
        return VehicleView(state, self.pages, self.body(state.vehicle.id))

    def body(self, vehicle_id: int) -> Body:
        """What the seal and hiss checks say of a vehicle."""
        return self._bodies.get(vehicle_id, NO_BODY)

    def row(self, reading: Reading, standing: tuple[str, Sequence[str]] | None = None) -> views.ReadingRow:
        """A reading as a row; `standing` where a bumper result changed its verdict."""
        return views.reading_row(reading, self.vehicle_names, self.limit_sets, self.pages, standing)


def day_page(
    site: Site,
    readings: Sequence[Reading],
    standing: Mapping[int, tuple[str, Sequence[str]]],
    states: Sequence[VehicleState],
    findings: Sequence[Finding],
    work: DayWork,
    body: Sequence[BodyLine],
    leaks: LeakViews,
    notes: Sequence[str],
    day_words: str,
) -> str:
    """The day. standing: verdicts by reading key where a bumper result changed them."""
    verdicts = (standing.get(r.id, (r.verdict, ()))[0] for r in readings if not r.superseded)
    worst_first = sorted(states, key=_severity)
    return site.render(
        "day.html",
        "index.html",
        {r.probe_id for r in readings},
        readings=[site.row(r, standing.get(r.id)) for r in readings],
        counts=Counter(verdicts),
        vehicles=[site.view(state) for state in worst_first],
        silent=sum(len(state.silent_bumpers) for state in states),
        findings=[FindingView(finding) for finding in findings],
        work=work,
        body=body,
        leaks=leaks,
        notes=notes,
        day_words=day_words,
    )


def _severity(state: VehicleState) -> tuple[int, int, int, str]:
    return (
        WORST_FIRST.index(state.worst),
        -state.count("dead"),
        -state.count("weak"),
        state.vehicle.name.lower(),
    )


def fleet_page(site: Site, states: Sequence[VehicleState]) -> str:
    """All vehicles in service, worst first."""
    words = [(state, svg.WORDS[state]) for state in WORST_FIRST]
    return site.render(
        "fleet.html",
        "fleet.html",
        probes_of(states),
        rows=[_fleet_row(state, site.body(state.vehicle.id)) for state in sorted(states, key=_severity)],
        in_service=sum(state.vehicle.retired_ms is None for state in states),
        notes=reread.retired_words(states),
        states=words,
        script=Markup(_text("filter.js")),
    )


def probes_of(states: Iterable[VehicleState]) -> set[int]:
    """The probes whose readings say how these vehicles stand."""
    return {p.reading.probe_id for state in states for p in state.places if p.reading is not None}


def _fleet_row(state: VehicleState, body: Body) -> dict[str, Any]:
    vehicle = state.vehicle
    find = " ".join(filter(None, (vehicle.name, vehicle.type, vehicle.depot))).lower()
    return {
        "id": vehicle.id,
        "name": vehicle.name,
        "retired": vehicle.retired_ms is not None,
        "type": vehicle.type or "",
        "depot": vehicle.depot or "",
        "find": find,
        "worst": state.worst,
        "badge": svg.badge(state.worst),
        "marks": body.marks,
        "dead": state.count("dead"),
        "weak": state.count("weak"),
        "retry": state.count("retry"),
        "unread": state.count("unread"),
        "passed": state.count("pass"),
        "last": "" if state.last_ms is None else date(state.last_ms),
    }


def vehicle_page(
    site: Site,
    state: VehicleState,
    findings: Sequence[Finding],
    again: Sequence[Again],
    places: Sequence[PlaceHistory],
    swaps: Sequence[str],
) -> str:
    """A vehicle: bumpers, work, newest readings, history of each position."""
    current = [
        site.row(place.reading, (place.verdict, place.reasons))
        for place in state.places
        if place.reading is not None
    ]
    probes = {reading.probe_id for place in places for reading in place.readings}
    return site.render(
        "vehicle.html",
        "vehicle",
        probes,
        state=site.view(state),
        body=body_view(site.body(state.vehicle.id)),
        about=_about(state),
        current=current,
        again=[reread.view(one, site.pages) for one in again],
        findings=[FindingView(finding) for finding in findings],
        swaps=swaps,
        fading=[
            f"{views.place_words(place.bumper, place.position).capitalize()}: {fading_views.trend_words(place.trend)}"
            for place in places
            if place.trend is not None and place.trend.is_fading
        ],
        places=[_place(site, place) for place in places if len(place.readings) > 1],
    )


def _about(state: VehicleState) -> str:
    vehicle = state.vehicle
    fitted = [
        f"{names.BUMPERS[number]} {vehicle.bumper(number).positions} sensors of "
        f"{vehicle.bumper(number).class_khz or 'a custom class'}{' kHz' if vehicle.bumper(number).class_khz else ''}"
        for number in range(len(names.BUMPERS))
        if vehicle.bumper(number).positions
    ]
    retired = f"retired {date(vehicle.retired_ms)}" if vehicle.retired_ms else ""
    return "; ".join(filter(None, (vehicle.type, vehicle.depot, *fitted, retired)))


def _place(site: Site, place: PlaceHistory) -> dict[str, Any]:
    points = [point(site, reading) for reading in place.readings]
    first_ms, last_ms = points[0].at_ms, points[-1].at_ms
    shown = [mark for mark in place.marks if mark.at_ms >= first_ms]
    events = [
        svg.Event(mark.at_ms, chr(ord("a") + index % 26), f"{date(mark.at_ms)} {mark.words}")
        for index, mark in enumerate(shown)
    ]
    title = views.place_words(place.bumper, place.position)
    summary = f"{title}: level of {len(points)} readings from {date(first_ms)} to {date(last_ms)}"
    ticks = sorted({first_ms: date(first_ms), last_ms: date(last_ms)}.items())
    return {
        "title": title,
        "drawing": svg.history(summary, points, events, ticks),
        "events": events,
        "trend": fading_views.trend_words(place.trend),
    }


def point(site: Site, reading: Reading) -> svg.Point:
    """A reading on a history of levels."""
    limits_db, level_db = site.limits_db(reading), views.own_level_db(reading)
    return svg.Point(reading.sort_ms, level_db, reading.verdict, *limits_db, faint=reading.superseded)


def fading_page(site: Site, fading: Sequence[tuple[PlaceHistory, Trend]]) -> str:
    """Every fading position of the fleet."""
    probes = {reading.probe_id for place, _ in fading for reading in place.readings}
    rows = fading_views.rows(fading, site.vehicle_names)
    return site.render("fading.html", "fading.html", probes, rows=rows)


def limits_page(site: Site, origins: Mapping[int, tuple[str, int]], sent: Mapping[int, Sequence[str]]) -> str:
    """Every limit set, newest first, with what each changed. origins: (words, made_ms) by revision."""
    revisions = sorted(site.limit_sets, reverse=True)
    shown = []
    for older, revision in zip([*revisions[1:], None], revisions, strict=True):
        limit_set = site.limit_sets[revision]
        origin, made_ms = origins.get(revision, ("factory set", 0))
        about = origin + (f", {when(made_ms)}" if made_ms else "")
        if sent.get(revision):
            about += "; sent to " + ", ".join(sent[revision])
        changes = [] if older is None else sets.differences(site.limit_sets[older], limit_set)
        shown.append(
            {
                "revision": revision,
                "about": about,
                "classes": limit_set["classes"],
                "words": _set_words(limit_set),
                "changes": [difference_words(change) for change in changes],
            }
        )
    return site.render("limits.html", "limits.html", (), sets=shown)


def _set_words(limit_set: LimitSet) -> str:
    parts = (
        f"Noise at most {limit_set['noise_max_cdb'] / 100:.1f} dBFS",
        f"battery at least {limit_set['battery_min_mv']} mV",
        f"WEAK when {limit_set['below_siblings_cdb'] / 100:.1f} dB below the others on its bumper",
        f"seal leak within {limit_set['seal_leak_cdb'] / 100:.1f} dB of the free reference",
        f"hiss from {limit_set['hiss_rise_cdb'] / 100:.1f} dB above the background",
    )
    return "; ".join(parts) + "."


def difference_words(change: sets.Difference) -> str:
    """One changed value as a phrase."""
    where = "" if change.class_khz is None else f"class {change.class_khz or 'custom'}: "
    return f"{where}{change.field} {change.before} -> {change.after}"
