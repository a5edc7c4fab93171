"""`curbtick vehicles`: the fleet's vehicles and what their bumpers carry."""

from typing import Annotated, Any

import typer
from curbtick_wire import names

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import now_ms, when
from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.vehicles import Bumper, Vehicle
from curbtick.numbers import whole
from curbtick.store.history import open_store

Name = Annotated[str, typer.Argument(help="A vehicle's name, or # and its number.")]
Fitted = Annotated[
    str | None, typer.Option(help="Sensors and class, such as 4x48; 0 for none.", show_default=False)
]

group = typer.Typer(help="The fleet's vehicles and what their bumpers carry.", invoke_without_command=True)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="vehicles")


@group.callback()
def list_vehicles(ctx: typer.Context, db: Db = None, as_json: Json = False) -> None:
    """List the vehicles."""
    if ctx.invoked_subcommand is not None:
        return
    output = Output(as_json)
    with open_store(db) as store, store.read() as connection:
        found = vehicles.load(connection)
    output.table(
        ("", "name", "type", "depot", *names.BUMPERS, "retired"),
        [
            (
                f"#{v.id}",
                v.name,
                v.type,
                v.depot,
                _fitted(v, names.REAR),
                _fitted(v, names.FRONT),
                when(v.retired_ms) if v.retired_ms else "",
            )
            for v in found
        ],
    )
    output.done({"vehicles": [as_object(v) for v in found]})


def as_object(vehicle: Vehicle) -> dict[str, Any]:
    """A vehicle in JSON."""
    fitted = {
        word: {"positions": vehicle.bumper(number).positions, "class_khz": vehicle.bumper(number).class_khz}
        for number, word in enumerate(names.BUMPERS)
    }
    return {
        "id": vehicle.id,
        "name": vehicle.name,
        "type": vehicle.type,
        "depot": vehicle.depot,
        "reference": vehicle.is_reference,
        "retired_ms": vehicle.retired_ms,
        **fitted,
    }


def _fitted(vehicle: Vehicle, number: int) -> str:
    bumper = vehicle.bumper(number)
    return f"{bumper.positions}x{bumper.class_khz or 'custom'}" if bumper.positions else "-"


def parse_bumper(text: str | None) -> Bumper:
    """Read 4x48 (positions and class), 4xcustom, or 0. Raises InputError."""
    if text in (None, "", "0", "-"):
        return vehicles.NO_SENSORS
    positions, _, class_khz = str(text).lower().partition("x")
    count, khz = whole(positions), whole("0" if class_khz == "custom" else class_khz)
    if count is None or khz is None:
        raise InputError(f"{text} says nothing about a bumper.", "Nothing was changed.", "Write it as 4x48.")
    return vehicles.checked_bumper(count, khz)


@group.command("add")
def add(
    name: Name,
    rear: Fitted = None,
    front: Fitted = None,
    type_: Annotated[str | None, typer.Option("--type")] = None,
    depot: Annotated[str | None, typer.Option()] = None,
    reference: Annotated[
        bool, typer.Option(help="A reference sensor for the daily check of the probes.")
    ] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Add a vehicle, or a reference sensor."""
    output = Output(as_json)
    with open_store(db, making=True) as store, store.write() as connection:
        key = vehicles.add(
            connection,
            name,
            parse_bumper(rear),
            parse_bumper(front),
            now_ms(),
            type_=type_,
            depot=depot,
            is_reference=reference,
        )
    output.say(f"Added {name} as #{key}.")
    output.done({"id": key})


@group.command("rename")
def rename(name: Name, new_name: str, db: Db = None, as_json: Json = False) -> None:
    """Give a vehicle a new name; its history stays, and the old name still finds it."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        vehicle = vehicles.find(connection, name)
        vehicles.rename(connection, vehicle.id, new_name, now_ms())
    output.say(f"{vehicle.name} is now called {new_name}.")
    output.done({"id": vehicle.id, "name": new_name})


@group.command("retire")
def retire(name: Name, db: Db = None, as_json: Json = False) -> None:
    """Take a vehicle out of the overview and the work list; its history stays."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        vehicle = vehicles.find(connection, name)
        vehicles.retire(connection, vehicle.id, now_ms())
    output.say(f"{vehicle.name} is retired.")
    output.done({"id": vehicle.id})


@group.command("refit")
def refit(
    name: Name,
    bumper: Annotated[str, typer.Argument(help="rear or front")],
    fitted: Annotated[str, typer.Argument(help="Sensors and class, such as 6x58.")],
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Note that a bumper carries other sensors from now on; what it carried before stays known."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        vehicle = vehicles.find(connection, name)
        vehicles.fit_bumper(connection, vehicle.id, bumper_number(bumper), parse_bumper(fitted), now_ms())
    output.say(f"{vehicle.name} carries {fitted} on its {bumper} bumper from now on.")
    output.done({"id": vehicle.id})


def bumper_number(word: str) -> int:
    """Number of a bumper by its name. Raises InputError."""
    if word.lower() not in names.BUMPERS:
        raise InputError(f"There is no {word} bumper.", "Nothing was changed.", "Say rear or front.")
    return names.BUMPERS.index(word.lower())
