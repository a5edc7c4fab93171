"""Vehicles and rounds of a bench's own file, entered in the central history where they or their news are new there."""

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, select, update

from curbtick.store import tables
from curbtick.store.history import inserted_key
from curbtick.store.sync import match


@dataclass
class Places:
    """Vehicles and rounds of a file in the central history.

    vehicles: key there by key in the file.
    clashed_rounds: numbers that mean other vehicles there.
    """

    vehicles: dict[int, int] = field(default_factory=dict)
    clashed_rounds: list[int] = field(default_factory=list)


def bring(own: Connection, central: Connection) -> Places:
    """Enter vehicles, or what became of them since, then rounds by number."""
    places = Places(match.match(match.load(own), match.load(central)))
    matches = dict(places.vehicles)
    for row in own.execute(select(tables.vehicles).order_by(tables.vehicles.c.id)).mappings():
        if row["id"] not in matches:
            places.vehicles[row["id"]] = _added(own, central, row)
    _go_on(own, central, matches)
    for row in own.execute(select(tables.rounds).order_by(tables.rounds.c.number)).mappings():
        if not _round(own, central, row, places.vehicles):
            places.clashed_rounds.append(row["number"])
    return places


def _go_on(own: Connection, central: Connection, matches: dict[int, int]) -> None:
    """What the file knows of the vehicles that the central history has: refits, names, retirements.

    matches: key in the central history by key in the file.
    """
    fitted, theirs_fitted = _parts(own, tables.bumpers), _parts(central, tables.bumpers)
    former, theirs_former = _parts(own, tables.vehicle_names), _parts(central, tables.vehicle_names)
    there = {row["id"]: row for row in central.execute(select(tables.vehicles)).mappings()}
    for row in own.execute(select(tables.vehicles)).mappings():
        key = matches.get(row["id"])
        if key is not None:
            _refit(central, key, fitted.get(row["id"], []), theirs_fitted.get(key, []))
            _rename(central, row, there[key], former.get(row["id"], []), theirs_former.get(key, []))
            _retire(central, row, there[key])


_ORDER = {
    tables.bumpers.name: tables.bumpers.c.from_ms,
    tables.vehicle_names.name: tables.vehicle_names.c.until_ms,
}


def _parts(connection: Connection, table: Table) -> dict[int, list[dict[str, Any]]]:
    """Rows of a table by vehicle, in the order of their times, without their keys."""
    by_vehicle: dict[int, list[dict[str, Any]]] = {}
    for row in connection.execute(select(table).order_by(_ORDER[table.name], table.c.id)).mappings():
        values = {name: value for name, value in row.items() if name not in ("id", "vehicle_id")}
        by_vehicle.setdefault(row["vehicle_id"], []).append(values)
    return by_vehicle


def _refit(central: Connection, key: int, mine: list[dict[str, Any]], theirs: list[dict[str, Any]]) -> None:
    """Enter fittings that are new; whatever either end noted last is what a bumper carries."""
    for fitting in mine:
        before = [
            one
            for one in theirs
            if one["bumper"] == fitting["bumper"] and one["from_ms"] <= fitting["from_ms"]
        ]
        if fitting in before or (before and _carried(before[-1]) == _carried(fitting)):
            continue
        central.execute(tables.bumpers.insert().values(vehicle_id=key, **fitting))
        theirs = sorted([*theirs, fitting], key=lambda one: int(one["from_ms"]))


def _carried(fitting: dict[str, Any]) -> tuple[int, int]:
    return fitting["positions"], fitting["class_khz"]


def _rename(
    central: Connection, mine: Any, theirs: Any, former: list[dict[str, Any]], known: list[dict[str, Any]]
) -> None:
    """Enter former names that are new; the end that renamed last says what the vehicle is called."""
    added = [row for row in former if row not in known]
    if former and (not known or former[-1]["until_ms"] > known[-1]["until_ms"]):
        old = {"name": theirs["name"], "until_ms": former[-1]["until_ms"]}
        if theirs["name"] not in (mine["name"], *(row["name"] for row in added)):
            added.append(old)
        change = update(tables.vehicles).where(tables.vehicles.c.id == theirs["id"])
        central.execute(change.values(name=mine["name"]))
    if added:
        central.execute(tables.vehicle_names.insert(), [{"vehicle_id": theirs["id"], **row} for row in added])


def _retire(central: Connection, mine: Any, theirs: Any) -> None:
    if mine["retired_ms"] is not None and mine["retired_ms"] > (theirs["retired_ms"] or 0):
        change = update(tables.vehicles).where(tables.vehicles.c.id == theirs["id"])
        central.execute(change.values(retired_ms=mine["retired_ms"]))


def _added(own: Connection, central: Connection, row: Any) -> int:
    values = {name: value for name, value in row.items() if name != "id"}
    key = inserted_key(central.execute(tables.vehicles.insert().values(**values)))
    for table in (tables.bumpers, tables.vehicle_names):
        mine = select(table).where(table.c.vehicle_id == row["id"]).order_by(table.c.id)
        for part in own.execute(mine).mappings():
            more = {name: value for name, value in part.items() if name != "id"}
            central.execute(table.insert().values(**{**more, "vehicle_id": key}))
    return key


def _round(own: Connection, central: Connection, row: Any, vehicles: dict[int, int]) -> bool:
    """Whether the central history now has this round with these vehicles."""
    mine = _members(own, row["id"], vehicles)
    columns = tables.rounds.c
    theirs = central.scalar(select(columns.id).where(columns.number == row["number"]))
    if theirs is not None:
        return mine == _members(central, theirs)
    values = {name: value for name, value in row.items() if name != "id"}
    key = inserted_key(central.execute(tables.rounds.insert().values(**values)))
    if mine:
        central.execute(tables.round_vehicles.insert(), [{"round_id": key, **member} for member in mine])
    return True


def _members(
    connection: Connection, key: int, vehicles: dict[int, int] | None = None
) -> list[dict[str, Any]]:
    columns = tables.round_vehicles.c
    rows = connection.execute(
        select(tables.round_vehicles).where(columns.round_id == key).order_by(columns.place)
    )
    members = [{name: value for name, value in row.items() if name != "round_id"} for row in rows.mappings()]
    if vehicles is not None:
        for member in members:
            member["vehicle_id"] = vehicles[member["vehicle_id"]]
    return members
