"""Building the site: what each page needs is fetched once, page by page, so memory does not grow with the
history.
"""

from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from sqlalchemy import Connection, func, select

from curbtick.dates import DAY_MS, date, day_end_ms, when
from curbtick.errors import InputError
from curbtick.fleet import leaks, readings, vehicles
from curbtick.fleet.leaks import Body
from curbtick.fleet.places import results, state
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.places.trend import Trend
from curbtick.fleet.probes import health
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work import findings as worklist
from curbtick.fleet.work import past, reread, swap
from curbtick.fleet.work.past import PlaceHistory
from curbtick.fleet.work.reread import Again, Standing
from curbtick.limits import repeat, sets
from curbtick.limits.repeat import Repeatability
from curbtick.report.pages import overviews as pages
from curbtick.report.pages import probes as probes_page
from curbtick.report.pages import reading as reading_page
from curbtick.report.pages import work
from curbtick.report.pages.overviews import Site
from curbtick.report.views import reread as again_views
from curbtick.report.views.leaks import BodyLine, LeakViews, body_lines, leak_views
from curbtick.store import tables
from curbtick.store.history import Store

Tick = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Built:
    """What was built: the day's page, how many pages in all, and the readings of the day."""

    index: Path
    pages: int
    readings: int


def _no_tick(_done: int, _of: int | None = None) -> None:
    """Progress that nobody watches."""


class Pages:
    """The pages of one history on one day, each made when it is asked for; what they share is fetched once."""

    def __init__(self, connection: Connection, day_ms: int, now_ms: int) -> None:
        self._connection = connection
        self._day_ms = day_ms
        self._now_ms = now_ms
        self._fading_of: dict[int, list[tuple[PlaceHistory, Trend]]] = {}

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
    def findings(self) -> list[worklist.Finding]:
        """Findings that are not proved, and those proved since the day began."""
        every = (worklist.OPEN, worklist.DONE, worklist.PROVED)
        return worklist.load(self._connection, every, since_ms=self._day_ms)

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
    def site(self) -> Site:
        """What every page needs."""
        every_name = {v.id: v.name for v in vehicles.load(self._connection)}
        limit_sets = sets.all_sets(self._connection)
        found = health.of_probes(self._connection, self._now_ms)
        day = date(self._day_ms)
        return Site(self._now_ms, found, limit_sets, every_name, self.reading_ids, day, self.bodies)

    @property
    def overviews(self) -> dict[str, Callable[[], str]]:
        """How to make each page that is not about one vehicle or reading."""
        return {
            "index.html": self._day,
            "fleet.html": self._fleet,
            "work.html": self._work,
            "fading.html": self._fading,
            "limits.html": lambda: pages.limits_page(self.site, *_limit_origins(self._connection)),
            "probes.html": lambda: probes_page.page(self.site, undated_by_probe(self._connection)),
        }

    def every(self) -> Iterator[tuple[str, str]]:
        """(file name, text) of every page."""
        for vehicle_state in self.states:
            yield f"vehicle-{vehicle_state.vehicle.id}.html", self.vehicle(vehicle_state)
        for name, make in self.overviews.items():
            yield name, make()
        keys = sorted(self.reading_ids)
        for start in range(0, len(keys), 200):
            for reading in readings.by_ids(self._connection, keys[start : start + 200]).values():
                yield f"reading-{reading.ref}.html", self.reading(reading)

    @property
    def count(self) -> int:
        """How many pages there are."""
        return len(self.overviews) + len(self.states) + len(self.reading_ids)

    def named(self, name: str) -> str | None:
        """The page of a file name, or None where there is none."""
        if name in self.overviews:
            return self.overviews[name]()
        kind, _, rest = name.removesuffix(".html").partition("-")
        if kind == "vehicle" and rest.isdigit():
            chosen = vehicles.load(self._connection, [int(rest)])
            return self.vehicle(state.of_vehicles(self._connection, chosen)[0]) if chosen else None
        if kind == "reading":
            try:
                return self.reading(readings.by_ref(self._connection, rest))
            except InputError:
                return None
        return None

    def _day(self) -> str:
        read = {reading.vehicle_id for reading in self.of_day}
        standing = standing_of(self._connection, self.of_day)
        states = [s for s in self._in_service if s.vehicle.id in read]
        findings = [finding for finding in self.findings if finding.vehicle_id in read]
        found = [one for one in self.again if one.vehicle.id in read]
        found += reread.not_fitted(self.of_day, standing, self.states)
        body = self._body_of_day(read)
        is_something = bool(findings or body)
        return pages.day_page(
            self.site,
            self.of_day,
            standing,
            states,
            findings,
            again_views.day_work(self.of_day, standing, found, is_something, self.reading_ids),
            body,
            leaks_of_day(self._connection, self._day_ms),
            [*again_views.retired_words(states), *day_notes(self.of_day, standing)],
            _day_words(self.of_day),
        )

    def _body_of_day(self, read: Container[int | None]) -> list[BodyLine]:
        """What stands of the bodies of the vehicles that were read or checked on the day."""
        end_ms = day_end_ms(self._day_ms)
        chosen = {
            key: body
            for key, body in self.bodies.items()
            if key in read or any(self._day_ms <= check.latest_ms < end_ms for check in body.shown)
        }
        return body_lines(chosen, self.site.vehicle_names)

    @property
    def _in_service(self) -> list[VehicleState]:
        return [s for s in self.states if not s.vehicle.is_reference]

    def _fleet(self) -> str:
        return pages.fleet_page(self.site, self._in_service)

    def _work(self) -> str:
        unproved = [finding for finding in self.findings if finding.state != worklist.PROVED]
        abouts = {
            s.vehicle.id: "; ".join(filter(None, (s.vehicle.type, s.vehicle.depot))) for s in self.states
        }
        in_use = [s.vehicle.id for s in self._in_service if s.vehicle.retired_ms is None]
        bodies = {key: self.bodies[key].pointers for key in in_use if key in self.bodies}
        pointers = {key: words for key, words in bodies.items() if words}
        concerned = (
            {f.vehicle_id for f in unproved} | {one.vehicle.id for one in self.again} | pointers.keys()
        )
        standing = [s for s in self.states if s.vehicle.id in concerned]
        swaps = {key: self._swaps(key) for key in concerned}
        loose = reread.loose_words(reread.loose_counts(self._connection))
        return work.page(self.site, unproved, self.again, pointers, loose, abouts, standing, swaps)

    def _swaps(self, vehicle_id: int) -> list[str]:
        return swap.in_words(self._connection, vehicle_id, lambda: self.repeatability)

    def _fading(self) -> str:
        """Of vehicles whose page was made before, what was found then."""
        found: list[tuple[PlaceHistory, Trend]] = []
        for vehicle in (s.vehicle for s in self._in_service):
            if vehicle.id not in self._fading_of:
                self._places(vehicle)
            found += self._fading_of[vehicle.id]
        return pages.fading_page(self.site, found)

    def _places(self, vehicle: Vehicle) -> list[PlaceHistory]:
        """The history of a vehicle's positions; what fades is kept for the page of the fading ones."""
        places = past.of_vehicle(self._connection, vehicle, self.site.limit_sets)
        trends = [(place, place.trend) for place in places if place.trend is not None]
        self._fading_of[vehicle.id] = [(place, trend) for place, trend in trends if trend.is_fading]
        return places

    def vehicle(self, vehicle_state: VehicleState) -> str:
        """A vehicle's page."""
        vehicle = vehicle_state.vehicle
        places = self._places(vehicle)
        mine = [finding for finding in self.findings if finding.vehicle_id == vehicle.id]
        open_places = reread.of_states([vehicle_state], mine)
        return pages.vehicle_page(
            self.site, vehicle_state, mine, open_places, places, self._swaps(vehicle.id)
        )

    def reading(self, reading: Reading) -> str:
        """A reading's page."""
        snippet = readings.waves_of(self._connection, reading)
        return reading_page.page(self.site, reading, readings.as_object(self._connection, reading), snippet)


def build(store: Store, out: Path, day_ms: int, now_ms: int, tick: Tick = _no_tick) -> Built:
    """Build the report of a day into a folder.

    day_ms: start of the day; now_ms: the bench's time, against which checks are overdue.
    Raises InputError where the folder cannot be written.
    """
    try:
        out.mkdir(parents=True, exist_ok=True)
        with store.read() as connection:
            made = Pages(connection, day_ms, now_ms)
            for written, (name, text) in enumerate(made.every(), 1):
                (out / name).write_text(text, encoding="utf-8")
                tick(written, made.count)
            return Built(out / "index.html", made.count, len(made.of_day))
    except OSError as error:
        raise InputError(
            f"The report cannot be written to {out}: {error.strerror or error}.",
            "The history is unchanged.",
            "Free some space, or name another folder with --out.",
        ) from error


def standing_of(connection: Connection, of_day: Sequence[Reading]) -> dict[int, tuple[str, Sequence[str]]]:
    """Verdict and reasons by reading key, where a bumper result named the reading."""
    if not of_day:
        return {}
    columns = tables.bumper_results.c
    low, high = of_day[0].sort_ms, of_day[-1].sort_ms + DAY_MS
    query = select(tables.bumper_results).where(columns.sort_ms.between(low, high))
    by_seq: dict[tuple[int, int], tuple[str, Sequence[str]]] = {}
    for row in connection.execute(query.order_by(columns.sort_ms, columns.id)):
        result = results.from_row(row)
        by_seq.update({(result.probe_id, seq): stands for seq, stands in result.by_seq.items()})
    return {r.id: by_seq[r.probe_id, r.seq] for r in of_day if (r.probe_id, r.seq) in by_seq}


def day_notes(of_day: Sequence[Reading], standing: Standing) -> list[str]:
    """What a reader of the day must know: readings without a vehicle, without a date."""
    loose = reread.loose_words(again_views.loose_counts(of_day, standing))
    notes = [loose] if loose else []
    undated = sum(reading.time_ms is None for reading in of_day)
    if undated:
        come = "reading comes" if undated == 1 else "readings come"
        notes.append(
            f"{undated} {come} from a start of the probe that never met a bench: the order is known, the date is not. "
            "They stand here because they were taken no later than this day."
        )
    return notes


def _day_words(of_day: Sequence[Reading]) -> str:
    if not of_day:
        return "No reading was taken on this day."
    dated = [r.time_ms for r in of_day if r.time_ms is not None]
    probes = ", ".join(sorted({r.probe for r in of_day}))
    span = f", {when(min(dated))[11:]} to {when(max(dated))[11:]}" if dated else ""
    return f"Read with probe {probes}{span}."


def leaks_of_day(connection: Connection, day_ms: int) -> LeakViews:
    """The seal and hiss sections of a day."""
    sections = leaks.sections_between(connection, day_ms, day_end_ms(day_ms))
    known = readings.names_of(connection, [s.vehicle_id for s in sections if s.vehicle_id is not None])
    return leak_views(sections, known)


def _limit_origins(connection: Connection) -> tuple[dict[int, tuple[str, int]], dict[int, list[str]]]:
    """((origin, made_ms) by revision, names of the probes each was sent to)."""
    rows = connection.execute(select(tables.limit_sets))
    origins = {row.revision: (row.origin or "", row.made_ms) for row in rows}
    query = select(tables.sends.c.number, tables.probes.c.name).join(
        tables.probes, tables.probes.c.id == tables.sends.c.probe_id
    )
    sent: dict[int, list[str]] = {}
    for row in connection.execute(query.where(tables.sends.c.what == "limits").distinct()):
        sent.setdefault(row.number, []).append(row.name)
    return origins, sent


def undated_by_probe(connection: Connection) -> dict[int, int]:
    """How many readings have no date, by probe; those of a start that never met a bench stand at its last bound."""
    boot, reading = tables.boots.c, tables.readings.c
    # By time, not by probe: a probe's readings may be a million, those of one moment are few.
    mine = (reading.sort_ms == boot.not_after_ms) & (reading.boot == boot.boot)
    query = (
        select(boot.probe_id, func.count())
        .select_from(tables.boots.join(tables.readings, mine & (reading.probe_id + 0 == boot.probe_id)))
        .where(boot.offset_ms.is_(None))
    )
    rows = connection.execute(query.group_by(boot.probe_id))
    return {row[0]: row[1] for row in rows}
