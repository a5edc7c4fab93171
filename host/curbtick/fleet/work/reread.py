"""What is to be read again: places of which nothing is known for certain, and readings that belong to no vehicle.

The work list holds what is known to be wrong. A RETRY says neither that nor the opposite, and a reading without
a vehicle says it of nobody; whoever is told that there is nothing to do must have heard of both.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from curbtick_wire import names
from sqlalchemy import Connection, func, select

from curbtick.fleet.places.newest import SEVERITY
from curbtick.fleet.places.state import Place, VehicleState
from curbtick.fleet.readings import Reading
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work.findings import UNPROVED, Finding
from curbtick.store import tables

READ_AGAIN = "Read again"
Standing = Mapping[int, tuple[str, Sequence[str]]]


@dataclass(frozen=True)
class Again:
    """A place that does not stand at PASS and that no finding covers.

    next_words: what to do about it.
    """

    vehicle: Vehicle
    place: Place
    next_words: str


def of_states(states: Iterable[VehicleState], findings: Sequence[Finding]) -> list[Again]:
    """Places that a RETRY leaves open, and WEAK or DEAD ones without a finding, in the order of the states.

    A RETRY on a bumper with a finding of its own (it does not transmit) is covered by that.
    """
    known_places = {(f.vehicle_id, f.bumper, f.position) for f in findings if f.state in UNPROVED}
    places = []
    for state in states:
        for place in state.places:
            key = (state.vehicle.id, place.bumper)
            covered = (*key, 0) in known_places or (
                place.verdict != "retry" and (*key, place.position) in known_places
            )
            if place.verdict not in ("pass", "unread") and not covered:
                places.append(Again(state.vehicle, place, _next_words(state.vehicle, place.verdict)))
    return places


def _next_words(vehicle: Vehicle, verdict: str) -> str:
    if vehicle.retired_ms is not None:
        return "The vehicle is retired: does the reading belong to another that has its name now?"
    if vehicle.is_reference:
        return "Read the reference sensor again; if it stays so, do not trust the probe"
    return READ_AGAIN if verdict == "retry" else f"{READ_AGAIN}: it is not on the work list"


def not_fitted(of_day: Sequence[Reading], standing: Standing, states: Iterable[VehicleState]) -> list[Again]:
    """Readings that do not pass, at positions where their vehicle carries no sensor by the history."""
    by_key = {state.vehicle.id: state for state in states}
    places = []
    for reading in of_day:
        state = by_key.get(reading.vehicle_id or 0)
        verdict, reasons = stands(reading, standing)
        if state is None or reading.superseded or verdict == "pass":
            continue
        if (reading.bumper, reading.position) not in state.vehicle.places:
            words = "No sensor is fitted there by the history: refit or assign"
            places.append(Again(state.vehicle, _place_of(reading, verdict, reasons), words))
    return places


def _place_of(reading: Reading, verdict: str, reasons: Sequence[str]) -> Place:
    at = (reading.bumper, reading.position, reading.class_khz)
    return Place(*at, reading, verdict, tuple(reasons), reading.sort_ms)


def stands(reading: Reading, standing: Standing) -> tuple[str, Sequence[str]]:
    """Verdict and reasons of a reading, after the bumper result that named it, if one did."""
    return standing.get(reading.id, (reading.verdict, reading.reasons))


def loose_counts(connection: Connection) -> dict[str, int]:
    """How many readings belong to no vehicle, by the verdict shown; those taken again do not count."""
    columns = tables.readings.c
    query = select(columns.verdict, func.count()).where(columns.vehicle_id.is_(None), columns.superseded == 0)
    rows = connection.execute(query.group_by(columns.verdict).order_by(columns.verdict))
    return {names.VERDICTS[verdict]: count for verdict, count in rows}


def loose_words(counts: Mapping[str, int]) -> str:
    """How many readings belong to no vehicle, as a sentence, worst first; empty for none."""
    total = sum(counts.values())
    worst_first = [verdict for verdict in SEVERITY if counts.get(verdict)]
    if not total:
        return ""
    belong = "reading belongs" if total == 1 else "readings belong"
    parts = ", ".join(f"{counts[verdict]} {verdict.upper()}" for verdict in worst_first)
    return f"{total} {belong} to no vehicle yet ({parts}): `curbtick assign` matches them."
