"""The site: the pages of one history on one day.

What each page needs is fetched once and page by page, so that memory does not grow with the history.
"""

from collections.abc import Callable, Container, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from sqlalchemy import Connection

from curbtick.dates import date, day_end_ms
from curbtick.errors import InputError
from curbtick.fleet import leaks, readings, vehicles
from curbtick.fleet.fading.judge import FleetFading
from curbtick.fleet.leaks import Body
from curbtick.fleet.places import state
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.probes import health
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work import past, reread, swap
from curbtick.fleet.work.findings import DONE, OPEN, PROVED, Finding
from curbtick.fleet.work.findings import load as load_findings
from curbtick.fleet.work.past import PlaceHistory
from curbtick.fleet.work.reread import Again, Standing
from curbtick.limits import repeat, sets
from curbtick.limits.repeat import Repeatability
from curbtick.numbers import whole
from curbtick.report import lookups
from curbtick.report.pages.day import day_page
from curbtick.report.pages.fading import fading_page
from curbtick.report.pages.fleet import fleet_page
from curbtick.report.pages.frame import Frame
from curbtick.report.pages.limits import limits_page
from curbtick.report.pages.probes import probes_page
from curbtick.report.pages.reading import reading_page
from curbtick.report.pages.todo import todo_page
from curbtick.report.pages.vehicle import vehicle_page
from curbtick.report.pages.work import work_page
from curbtick.report.views import site_map
from curbtick.report.views.day import day_notes, day_words
from curbtick.report.views.fading import Fading
from curbtick.report.views.leaks import BodyLine, body_lines
from curbtick.report.views.reread import day_work, retired_words
from curbtick.store.history import Store

# Pages are made from so many readings at a time.
BATCH = 200
# A large fleet's fading takes seconds to judge, and changes over weeks.
FADING_KEPT_MS = 60_000

Tick = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Built:
    """What was built: the day's page, how many pages in all, and the readings of the day."""

    index: Path
    pages: int
    readings: int


def _no_tick(_done: int, _of: int | None = None) -> None:
    """Progress that nobody watches."""


class Site:
    """The pages of one history on one day, each made when it is asked for; what they share is fetched once."""

    def __init__(
        self, connection: Connection, day_ms: int, now_ms: int, before: "Site | None" = None
    ) -> None:
        """before: a site of the same history; what it found out slowly is used for FADING_KEPT_MS."""
        self._connection = connection
        self._day_ms = day_ms
        self._now_ms = self._judged_ms = now_ms
        if before and "_fleet_fading" in vars(before) and now_ms - before._judged_ms < FADING_KEPT_MS:
            self._fleet_fading, self._judged_ms = before._fleet_fading, before._judged_ms
        self._fading_of: dict[int, list[Fading]] = {}

    @classmethod
    def of(
        cls, connection: Connection, day_ms: int | None, now_ms: int, before: "Site | None" = None
    ) -> "Site":
        """The pages as of now_ms. day_ms: start of their day, None for the newest one with readings."""
        day_ms = lookups.newest_day_ms(connection, now_ms) if day_ms is None else day_ms
        return cls(connection, day_ms, now_ms, before)

    @cached_property
    def of_day(self) -> list[Reading]:
        """The day's readings, in order."""
        return readings.between(self._connection, self._day_ms, day_end_ms(self._day_ms))

    @cached_property
    def states(self) -> list[VehicleState]:
        """State of every vehicle in service, and of those that were read although they are retired."""
        return state.of_vehicles(self._connection, vehicles.in_use(self._connection))

    @cached_property
    def reading_ids(self) -> frozenset[int]:
        """Readings with a page of their own: the day's, and the newest of every place that does not pass."""
        places = (place for vehicle_state in self.states for place in vehicle_state.places)
        current = {p.reading.id for p in places if p.reading is not None and p.verdict != "pass"}
        return frozenset({r.id for r in self.of_day} | current)

    @cached_property
    def _fleet_fading(self) -> FleetFading:
        """Which positions fade; what the others have in common is needed for it, a single vehicle does not tell."""
        return past.fading_of(self._connection, [s.vehicle for s in self.states])

    @cached_property
    def findings(self) -> list[Finding]:
        """Findings that are not proved, and those proved since the day began."""
        states = (OPEN, DONE, PROVED)
        return load_findings(self._connection, states, since_ms=self._day_ms)

    @cached_property
    def again(self) -> list[Again]:
        """Places of all vehicles that are to be read again."""
        return reread.of_states(self.states, self.findings)

    @cached_property
    def bodies(self) -> dict[int, Body]:
        """What the seal and hiss checks say of every vehicle that had one."""
        return leaks.of_vehicles(self._connection)

    @cached_property
    def repeatability(self) -> Repeatability:
        """How well one reading of this fleet repeats."""
        return repeat.of_fleet(self._connection)

    @cached_property
    def frame(self) -> Frame:
        """What every page needs."""
        return Frame(
            now_ms=self._now_ms,
            health=health.of_probes(self._connection, self._now_ms),
            limit_sets=sets.all_sets(self._connection),
            vehicle_names={v.id: v.name for v in vehicles.load(self._connection)},
            pages=self.reading_ids,
            day=date(self._day_ms),
            bodies=self.bodies,
        )

    @property
    def overviews(self) -> dict[str, Callable[[], str]]:
        """How to make each page that is not about one vehicle or reading."""
        return {
            site_map.START.file: self._todo,
            site_map.DAY.file: self._day,
            site_map.FLEET.file: self._fleet,
            site_map.WORK.file: self._work,
            site_map.FADING.file: self._fading,
            site_map.LIMITS.file: self._limits,
            site_map.PROBES.file: self._probes,
        }

    def every(self) -> Iterator[tuple[str, str]]:
        """(file name, text) of every page."""
        for vehicle_state in self.states:
            yield site_map.vehicle(vehicle_state.vehicle.id), self.vehicle(vehicle_state)
        for name, make in self.overviews.items():
            yield name, make()
        keys = sorted(self.reading_ids)
        for start in range(0, len(keys), BATCH):
            for reading in readings.by_ids(self._connection, keys[start : start + BATCH]).values():
                yield site_map.reading(reading.ref), self.reading(reading)

    @property
    def count(self) -> int:
        """How many pages there are."""
        return len(self.overviews) + len(self.states) + len(self.reading_ids)

    def named(self, name: str) -> str | None:
        """The page of a file name, or None where there is none."""
        if name in self.overviews:
            return self.overviews[name]()
        kind, _, rest = name.removesuffix(".html").partition("-")
        key = whole(rest)
        if kind == "vehicle" and key is not None:
            chosen = vehicles.load(self._connection, [key])
            return self.vehicle(state.of_vehicles(self._connection, chosen)[0]) if chosen else None
        if kind == "reading":
            try:
                return self.reading(readings.by_ref(self._connection, rest))
            except InputError:
                return None
        return None

    def _day(self) -> str:
        read = {reading.vehicle_id for reading in self.of_day}
        standing = self._standing
        states = [s for s in self._in_service if s.vehicle.id in read]
        findings = [finding for finding in self.findings if finding.vehicle_id in read]
        again = [place for place in self.again if place.vehicle.id in read]
        again += reread.not_fitted(self.of_day, standing, self.states)
        body = self._body_of_day(read)
        has_findings = bool(findings or body)
        return day_page(
            self.frame,
            readings=self.of_day,
            standing=standing,
            states=states,
            findings=findings,
            work=day_work(self.of_day, standing, again, has_findings, self.reading_ids),
            body=body,
            leaks=lookups.leaks_of_day(self._connection, self._day_ms),
            notes=[*retired_words(states), *day_notes(self.of_day, standing)],
            day_words=day_words(self.of_day, lookups.day_before_ms(self._connection, self._day_ms)),
        )

    def _body_of_day(self, read: Container[int | None]) -> list[BodyLine]:
        """What stands of the bodies of the vehicles that were read or checked on the day."""
        end_ms = day_end_ms(self._day_ms)
        chosen = {
            key: body
            for key, body in self.bodies.items()
            if key in read or any(self._day_ms <= check.latest_ms < end_ms for check in body.shown)
        }
        return body_lines(chosen, self.frame.vehicle_names)

    @property
    def _in_service(self) -> list[VehicleState]:
        return [s for s in self.states if not s.vehicle.is_reference]

    def _fleet(self) -> str:
        return fleet_page(self.frame, self._in_service)

    def _todo(self) -> str:
        states = [s for s in self._in_service if s.vehicle.retired_ms is None]
        keys = {s.vehicle.id for s in states}
        return todo_page(
            self.frame,
            states=states,
            findings=[f for f in self.findings if f.vehicle_id in keys],
            again=self.again,
            bodies={key: body for key, body in self.bodies.items() if key in keys},
            loose=reread.loose_words(reread.loose_counts(self._connection)),
            of_day=self.of_day,
            standing=self._standing,
        )

    @cached_property
    def _standing(self) -> Standing:
        """What bumper results made of the day's readings."""
        return lookups.standing_of(self._connection, self.of_day)

    def _work(self) -> str:
        unproved = [finding for finding in self.findings if finding.state != PROVED]
        in_use = [s.vehicle.id for s in self._in_service if s.vehicle.retired_ms is None]
        pointers = {key: self.bodies[key].pointers for key in in_use if key in self.bodies}
        pointers = {key: words for key, words in pointers.items() if words}
        concerned = (
            {f.vehicle_id for f in unproved} | {place.vehicle.id for place in self.again} | pointers.keys()
        )
        return work_page(
            self.frame,
            findings=unproved,
            again=self.again,
            body=pointers,
            loose=reread.loose_words(reread.loose_counts(self._connection)),
            abouts={
                s.vehicle.id: "; ".join(filter(None, (s.vehicle.type, s.vehicle.depot))) for s in self.states
            },
            states=[s for s in self.states if s.vehicle.id in concerned],
            swaps={key: self._swaps(key) for key in concerned},
        )

    def _limits(self) -> str:
        return limits_page(self.frame, lookups.limit_origins(self._connection))

    def _probes(self) -> str:
        return probes_page(self.frame, lookups.undated_by_probe(self._connection))

    def _swaps(self, vehicle_id: int) -> list[str]:
        return swap.in_words(self._connection, vehicle_id, lambda: self.repeatability)

    def _fading(self) -> str:
        """Vehicles whose page was made before were looked at then."""
        fading: list[Fading] = []
        for vehicle in (s.vehicle for s in self._in_service):
            if vehicle.id not in self._fading_of:
                self._places(vehicle)
            fading += self._fading_of[vehicle.id]
        return fading_page(self.frame, fading)

    def _places(self, vehicle: Vehicle) -> list[PlaceHistory]:
        """The history of a vehicle's positions; what fades is kept for the page of the fading ones."""
        places = past.of_vehicle(self._connection, vehicle, self.frame.limit_sets, self._fleet_fading)
        trends = [Fading(place, place.trend) for place in places if place.trend is not None]
        self._fading_of[vehicle.id] = [fading for fading in trends if fading.trend.is_fading]
        return places

    def vehicle(self, vehicle_state: VehicleState) -> str:
        """A vehicle's page."""
        vehicle = vehicle_state.vehicle
        places = self._places(vehicle)
        findings = [finding for finding in self.findings if finding.vehicle_id == vehicle.id]
        again = reread.of_states([vehicle_state], findings)
        return vehicle_page(self.frame, vehicle_state, findings, again, places, self._swaps(vehicle.id))

    def reading(self, reading: Reading) -> str:
        """A reading's page."""
        snippet = readings.waves_of(self._connection, reading)
        return reading_page(self.frame, reading, readings.as_object(self._connection, reading), snippet)


def build(store: Store, out: Path, day_ms: int | None, now_ms: int, tick: Tick = _no_tick) -> Built:
    """Build the report of a day into a folder.

    day_ms: start of the day, None for the newest one with readings; now_ms: the bench's time, against which checks
    are overdue.
    Raises InputError where the folder cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        with store.read() as connection:
            site = Site.of(connection, day_ms, now_ms)
            for written, (name, text) in enumerate(site.every(), 1):
                (out / name).write_text(text, encoding="utf-8")
                tick(written, site.count)
            return Built(out / site_map.START.file, site.count, len(site.of_day))
    except OSError as error:
        raise InputError(
            f"The report cannot be written to {out}: {error.strerror or error}.",
            "The history is unchanged.",
            "Free some space, or name another folder with --out.",
        ) from error
