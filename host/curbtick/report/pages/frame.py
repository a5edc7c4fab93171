"""What frames every page: the templates, navigation, cautions, and what a page must know of the whole history."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

from curbtick_wire.sampling import FULL_SCALE_CODES
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from curbtick.cautions import CAUTIONS, HISS_NOTE
from curbtick.dates import now_ms, when
from curbtick.fleet.leaks import NO_BODY, Body
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.probes.health import Health
from curbtick.fleet.readings import Reading
from curbtick.fleet.work import past
from curbtick.limits.sets import LimitSet
from curbtick.report.drawings import svg
from curbtick.report.views import places, site_map
from curbtick.report.views.places import LimitsDb, ReadingRow, Stands, VehicleView
from curbtick.report.views.site_map import PageName


def _environment() -> Environment:
    """A name that a template asks for and nobody gives is an error: it would be an empty place on a page."""
    environment = Environment(
        loader=PackageLoader("curbtick.report"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["badge"] = svg.badge
    environment.globals["cautions"] = " ".join(CAUTIONS)
    environment.globals["hiss_note"] = HISS_NOTE
    environment.globals["full_scale_codes"] = FULL_SCALE_CODES
    environment.globals["page_of_vehicle"] = site_map.vehicle
    environment.globals["page_of_reading"] = site_map.reading
    environment.globals["style"] = Markup(asset("style.css"))
    return environment


def asset(name: str) -> str:
    """Return the text of a style sheet or script of the report."""
    return files("curbtick.report").joinpath(name).read_text(encoding="utf-8")


ENVIRONMENT = _environment()


@dataclass
class Frame:
    """What every page needs to know of the whole history.

    now_ms: the bench's time. health: of every probe. limit_sets: by revision. vehicle_names: by key.
    pages: keys of the readings that have a page of their own. day: the day that the site is about, empty for none.
    bodies: what the seal and hiss checks say, by the vehicle's key. is_live: whether there is a bench page.
    """

    now_ms: int
    health: Sequence[Health]
    limit_sets: Mapping[int, LimitSet]
    vehicle_names: Mapping[int, str]
    pages: frozenset[int]
    day: str = ""
    bodies: Mapping[int, Body] = field(default_factory=dict)
    is_live: bool = False
    _limits_db: dict[tuple[int, int], LimitsDb] = field(default_factory=dict)

    def render(self, template: str, probe_ids: Iterable[int], **values: Any) -> str:
        """A page. template: the template's file; a page of the navigation has its page's own file for one.
        probe_ids: probes whose readings stand on the page, so that a doubtful one is flagged.
        """
        used = set(probe_ids)
        flags = [
            {"name": probe.name, "words": words}
            for probe in self.health
            if probe.probe_id in used
            for words in probe.flags
        ]
        return ENVIRONMENT.get_template(template).render(
            here=template,
            navigation=self.navigation,
            flags=flags,
            made=when(self.now_ms),
            day=self.day,
            **values,
        )

    @property
    def navigation(self) -> Sequence[PageName]:
        """The pages that every page links to."""
        return (site_map.BENCH, *site_map.OVERVIEWS) if self.is_live else site_map.OVERVIEWS

    def limits_db(self, reading: Reading) -> LimitsDb:
        """The limits that a reading was judged by."""
        judged_by = reading.values["limits_revision"], reading.class_khz
        if judged_by not in self._limits_db:
            self._limits_db[judged_by] = places.limits_db(past.limits_of(reading, self.limit_sets))
        return self._limits_db[judged_by]

    def view(self, state: VehicleState) -> VehicleView:
        """A vehicle as the pages show it."""
        return VehicleView(state, self.pages, self.body(state.vehicle.id))

    def body(self, vehicle_id: int) -> Body:
        """What the seal and hiss checks say of a vehicle."""
        return self.bodies.get(vehicle_id, NO_BODY)

    def row(self, reading: Reading, stands: Stands | None = None) -> ReadingRow:
        """A reading as a row; stands: where a bumper result changed its verdict."""
        return places.reading_row(reading, self.vehicle_names, self.limit_sets, self.pages, stands)


def point(frame: Frame, reading: Reading) -> svg.Point:
    """A reading on a history of levels."""
    limits_db, level_db = frame.limits_db(reading), places.own_level_db(reading)
    return svg.Point(reading.sort_ms, level_db, reading.verdict, *limits_db, faint=reading.superseded)


def message_page(title: str, words: Sequence[str]) -> str:
    """A page that only says something, and needs no history: what failed, for one. words: a paragraph each."""
    frame = Frame(now_ms(), (), {}, {}, frozenset(), is_live=True)
    return frame.render("message.html", (), title=title, words=words)
