"""Sections of the seal and hiss checks out of the history: one row a section, as it was last judged; and what they
say of each vehicle's body now, which is never a verdict on a sensor.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from curbtick_wire import names, records
from sqlalchemy import Connection, Select, Table, select

from curbtick.dates import date
from curbtick.sound import leak_flow
from curbtick.sound.leak_flow import Hole
from curbtick.store import tables

# Pressures over the atmosphere of a van's tyre, a truck's tyre and an air-brake reservoir (common practice), and holes.
PRESSURES_BAR = (2.5, 8.5, 10.0)
HOLES_MM = (0.1, 0.3, 1.0)
# Verdicts that say that something was found, and those that say that nothing was. RETRY says neither.
FOUND = frozenset(("leak", "hiss", "tone"))
CLEAN = frozenset(("tight", "quiet"))
_TABLES = (("seal", tables.seal_marks), ("hiss", tables.hiss_marks))


@dataclass(frozen=True)
class Section:
    """One section of a check; a value is None where nothing was measured.

    check: "seal" or "hiss".
    vehicle_id: None where no vehicle is assigned.
    number: its number within the check, from 1.
    verdict, reasons: words, as last judged.
    level_db: dBFS of the high input.
    compared_db: below the free reference (seal), or above the background (hiss).
    tone_hz: the measured tone (seal), or the whistle (hiss).
    band_hz: the lowest and the highest frequency that stood out (hiss).
    time_ms: None where the time is not known; sort_ms orders sections all the same.
    """

    check: str
    vehicle_id: int | None
    number: int
    verdict: str
    reasons: tuple[str, ...]
    level_db: float | None
    compared_db: float | None
    tone_hz: int | None
    band_hz: tuple[int, int] | None
    time_ms: int | None
    sort_ms: int


def sections_between(connection: Connection, start_ms: int, end_ms: int) -> list[Section]:
    """Sections marked from start_ms to end_ms, in order of their first mark.

    A seal's section is logged when it is marked and again when the reference is confirmed: the newest counts. The same
    number marked anew after that is another section.
    """
    sections: list[Section] = []
    for check, table in _TABLES:
        rows = _rows(connection, table, start_ms, end_ms)
        sections += [_section(check, row) for row in (_newest(rows) if check == "seal" else rows)]
    return sorted(sections, key=lambda section: section.sort_ms)


def _rows(connection: Connection, table: Table, start_ms: int, end_ms: int) -> list[Mapping[str, Any]]:
    query = select(table).where(table.c.sort_ms >= start_ms, table.c.sort_ms < end_ms)
    in_order = query.order_by(table.c.sort_ms, table.c.probe_id, table.c.seq)
    return [dict(row._mapping) for row in connection.execute(in_order)]


def _newest(rows: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Seal marks without those that only waited for their reference and were settled later."""
    kept: dict[int, Mapping[str, Any]] = {}
    waiting: dict[tuple[Any, ...], int] = {}
    for place, row in enumerate(rows):
        key = tuple(row[name] for name in ("probe_id", "boot", "round_id", "vehicle", "section"))
        if _waits(row):
            waiting[key] = place
            kept[place] = row
        else:
            kept[waiting.pop(key, place)] = row
    return list(kept.values())


def _waits(row: Mapping[str, Any]) -> bool:
    """Whether a mark has a reference before it and none after it yet."""
    reference, after = row["reference_cdb"], row["reference_after_cdb"]
    return reference is not None and after is None and "no_reference" in _reasons(row)


def _reasons(row: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(names.words_of(names.REASONS, row["reasons"]))


def _section(check: str, row: Mapping[str, Any]) -> Section:
    seal = check == "seal"
    verdicts = names.SEAL_VERDICTS if seal else names.HISS_VERDICTS
    band_hz = None if seal or not row["band_high_hz"] else (row["band_low_hz"], row["band_high_hz"])
    return Section(
        check=check,
        vehicle_id=row["vehicle_id"],
        number=row["section"],
        verdict=verdicts[row["verdict"]],
        reasons=_reasons(row),
        level_db=_db(row["level_cdb"]),
        compared_db=_db(row["below_reference_cdb" if seal else "above_background_cdb"]),
        tone_hz=row["measured_hz" if seal else "tone_hz"] or None,
        band_hz=band_hz,
        time_ms=row["time_ms"],
        sort_ms=row["sort_ms"],
    )


def _db(value_cdb: int | None) -> float | None:
    return None if value_cdb is None or value_cdb == records.NONE_I16 else value_cdb / 100


@dataclass(frozen=True)
class Check:
    """One check on one vehicle.

    sections: in order, as last judged.
    first_seq, last_seq: its first and last record.
    earliest_ms, latest_ms: it was made between these two moments; they differ where its start never met a bench.
    """

    sections: Sequence[Section]
    probe_id: int
    first_seq: int
    last_seq: int
    earliest_ms: int
    latest_ms: int

    @property
    def kind(self) -> str:
        """Which check it is, seal or hiss."""
        return self.sections[0].check

    @property
    def found(self) -> list[Section]:
        """The sections in which something was found."""
        return [section for section in self.sections if section.verdict in FOUND]

    @property
    def is_clean(self) -> bool:
        """Whether every section is tight or quiet; one without a verdict may be the one that leaks."""
        return all(section.verdict in CLEAN for section in self.sections)

    def clears(self, other: "Check") -> bool:
        """Whether it takes back what another one found: clean, surely later, and gone as far as the last finding.

        A check broken off sooner never came to the place.
        """
        if not (self.is_clean and self.is_after(other)):
            return False
        return self.sections[-1].number >= max(section.number for section in other.found)

    def is_after(self, other: "Check") -> bool:
        """Whether it was surely made after another one."""
        if self.probe_id == other.probe_id:
            return self.first_seq > other.last_seq
        return self.earliest_ms > other.latest_ms

    @property
    def words(self) -> str:
        """What was found, where and when, such as `seal: leak in section 2, 2026-11-24`."""
        parts = [_in_sections(verdict, self.found) for verdict in sorted({one.verdict for one in self.found})]
        return f"{self.kind}: {', '.join(parts)}, {date(self.found[-1].time_ms)}"


def _in_sections(verdict: str, sections: Sequence[Section]) -> str:
    numbers = [str(section.number) for section in sections if section.verdict == verdict]
    *others, last = numbers
    where = f"sections {', '.join(others)} and {last}" if others else f"section {last}"
    return f"{verdict} in {where}"


@dataclass(frozen=True)
class Body:
    """What both checks say of a vehicle.

    newest: the newest check of each kind.
    standing: the checks that found something and were not cleared by a later one of their kind, oldest first.
    """

    newest: Sequence[Check]
    standing: Sequence[Check]

    @property
    def pointers(self) -> list[str]:
        """What stands, a phrase for each check."""
        return [check.words for check in self.standing]

    @property
    def marks(self) -> list[str]:
        """What stands in a word or two for each kind of finding."""
        kinds = [(check.kind, section.verdict) for check in self.standing for section in check.found]
        return [_mark(kind, verdict) for kind, verdict in dict.fromkeys(kinds)]

    @property
    def shown(self) -> list[Check]:
        """The checks to be shown: those that stand, and the newest of each kind."""
        return [*self.standing, *(check for check in self.newest if check not in self.standing)]


def _mark(kind: str, verdict: str) -> str:
    return verdict if verdict == kind else f"{kind} {verdict}"


NO_BODY = Body((), ())


def of_vehicles(connection: Connection) -> dict[int, Body]:
    """What the checks say of every vehicle that had one, by key; the marks of one vehicle are held at a time."""
    bodies_of: dict[int, list[Body]] = {}
    for kind, table in _TABLES:
        rows = connection.execute(_of_vehicles(table), execution_options={"yield_per": 2000})
        of_vehicle = groupby((dict(row._mapping) for row in rows), lambda row: int(row["vehicle_id"]))
        for vehicle_id, marks in of_vehicle:
            bodies_of.setdefault(vehicle_id, []).append(_body(list(_checks(kind, marks))))
    return {vehicle_id: _joined(bodies) for vehicle_id, bodies in bodies_of.items()}


def _of_vehicles(table: Table) -> Select[Any]:
    """Marks of vehicles, each probe's in its own order, with the earliest moment at which each can have been made."""
    columns, boot = table.c, tables.boots.c
    where = (boot.probe_id == columns.probe_id) & (boot.boot == columns.boot)
    return (
        select(table, boot.not_before_ms)
        .select_from(table.outerjoin(tables.boots, where))
        .where(columns.vehicle_id.is_not(None))
        .order_by(columns.vehicle_id, columns.probe_id, columns.seq)
    )


def _checks(kind: str, rows: Iterable[Mapping[str, Any]]) -> Iterator[Check]:
    """A vehicle's marks as checks: a probe begins each of them with section 1."""
    settled = _newest(rows) if kind == "seal" else rows
    run: list[Mapping[str, Any]] = []
    for row in settled:
        if run and not _goes_on(run[-1], row):
            yield _check(kind, run)
            run = []
        run.append(row)
    if run:
        yield _check(kind, run)


def _goes_on(before: Mapping[str, Any], row: Mapping[str, Any]) -> bool:
    """Whether a mark belongs to the same check as the one before it."""
    same = all(before[name] == row[name] for name in ("probe_id", "boot", "round_id", "vehicle"))
    return same and bool(row["section"] > before["section"])


def _check(kind: str, rows: Sequence[Mapping[str, Any]]) -> Check:
    last = rows[-1]
    earliest_ms = last["not_before_ms"] if last["time_ms"] is None else rows[0]["time_ms"]
    sections = [_section(kind, row) for row in rows]
    numbers = [row["seq"] for row in rows]
    return Check(sections, last["probe_id"], min(numbers), max(numbers), earliest_ms or 0, last["sort_ms"])


def _body(checks: Sequence[Check]) -> Body:
    """What checks of one kind on one vehicle say."""
    ordered = sorted(checks, key=lambda check: (check.latest_ms, check.probe_id, check.last_seq))
    clean = [check for check in ordered if check.is_clean]
    standing = [one for one in ordered if one.found and not any(later.clears(one) for later in clean)]
    return Body(ordered[-1:], standing)


def _joined(bodies: Sequence[Body]) -> Body:
    newest = [check for body in bodies for check in body.newest]
    return Body(newest, [check for body in bodies for check in body.standing])


@dataclass(frozen=True)
class FlowRow:
    """What a hole loses at each of PRESSURES_BAR, in litres of free air a minute."""

    hole_mm: float
    litres_per_min: Sequence[float]


def flow_reference() -> list[FlowRow]:
    """What holes of HOLES_MM lose, by choked flow through a sharp edge: an order of magnitude beside a hiss."""
    return [
        FlowRow(
            hole_mm,
            [
                leak_flow.free_air_l_min(leak_flow.mass_flow_kg_s(Hole(hole_mm / 1e3), bar * 1e5))
                for bar in PRESSURES_BAR
            ],
        )
        for hole_mm in HOLES_MM
    ]
