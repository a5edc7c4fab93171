"""Sections of the seal and hiss checks out of the history: one row a section, as it was last judged."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from curbtick_wire import names, records
from sqlalchemy import Connection, Table, select

from curbtick import leakflow
from curbtick.leakflow import Hole
from curbtick.store import tables

# Pressures over the atmosphere of a van's tyre, a truck's tyre and an air-brake reservoir (common practice), and holes.
PRESSURES_BAR = (2.5, 8.5, 10.0)
HOLES_MM = (0.1, 0.3, 1.0)


@dataclass(frozen=True)
class Section:
    """One section. check: "seal" or "hiss"; vehicle_id: None where no vehicle is assigned.

    level_db: dBFS of the high input; compared_db: below the free reference, or above the background; tone_hz: the
    seal's measured tone, or the hiss check's whistle; band_hz: of the hiss check. None where nothing was measured.
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
    made: list[Section] = []
    for check, table in (("seal", tables.seal_marks), ("hiss", tables.hiss_marks)):
        rows = _rows(connection, table, start_ms, end_ms)
        made += [_section(check, row) for row in (_newest(rows) if check == "seal" else rows)]
    return sorted(made, key=lambda section: section.sort_ms)


def _rows(connection: Connection, table: Table, start_ms: int, end_ms: int) -> list[Mapping[str, Any]]:
    query = select(table).where(table.c.sort_ms >= start_ms, table.c.sort_ms < end_ms)
    return [dict(row._mapping) for row in connection.execute(query.order_by(table.c.sort_ms, table.c.id))]


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
                leakflow.free_air_l_min(leakflow.mass_flow_kg_s(Hole(hole_mm / 1e3), bar * 1e5))
                for bar in PRESSURES_BAR
            ],
        )
        for hole_mm in HOLES_MM
    ]
