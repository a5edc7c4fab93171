"""Vehicles and rounds of a bench's own file, entered in the central history where they are new there."""

from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, func, select

from curbtick.store import inserted_key, tables


@dataclass
class Places:
    """vehicles: key in the central history by key in the file; clashed_rounds: numbers that mean other vehicles
    there.
    """

    vehicles: dict[int, int] = field(default_factory=dict)
    clashed_rounds: list[int] = field(default_factory=list)


def bring(own: Connection, central: Connection) -> Places:
    """Enter vehicles by name and depot, then rounds by number."""
    found = Places()
    for row in own.execute(select(tables.vehicles).order_by(tables.vehicles.c.id)).mappings():
        key = _known(central, row)
        found.vehicles[row["id"]] = _added(own, central, row) if key is None else key
    for row in own.execute(select(tables.rounds).order_by(tables.rounds.c.number)).mappings():
        if not _round(own, central, row, found.vehicles):
            found.clashed_rounds.append(row["number"])
    return found


def _known(central: Connection, row: Any) -> int | None:
    columns = tables.vehicles.c
    query = select(columns.id).where(func.lower(columns.name) == row["name"].lower())
    query = query.where(columns.depot.is_(None) if row["depot"] is None else columns.depot == row["depot"])
    # Of two that carry the name, the one in service.
    key: int | None = central.scalar(query.order_by(columns.retired_ms.is_not(None), columns.id).limit(1))
    return key


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
    found = [{name: value for name, value in row.items() if name != "round_id"} for row in rows.mappings()]
    if vehicles is not None:
        for member in found:
            member["vehicle_id"] = vehicles[member["vehicle_id"]]
    return found
