"""`curbtick round`: make, print and send the day's round."""

from pathlib import Path
from typing import Annotated, Any

import typer
from curbtick_wire import names
from sqlalchemy import Connection

from curbtick import spreadsheet
from curbtick.commands.history.vehicles import as_object
from curbtick.commands.output import Db, Json, Output, write_text
from curbtick.commands.probe.probes import Port
from curbtick.dates import now_ms
from curbtick.exchange.send import send_round
from curbtick.fleet import lines, rounds, vehicles
from curbtick.fleet.rounds import Round
from curbtick.link.client import connect
from curbtick.numbers import LARGEST
from curbtick.report import sheets
from curbtick.store.history import open_store

group = typer.Typer(help="The day's round: its vehicles in order.", no_args_is_help=True)
# What a list of vehicles is kept in; any other word is a vehicle's name.
LIST_FILES = (".csv", ".tsv", ".txt", spreadsheet.XLSX)
Number = Annotated[
    int | None,
    typer.Argument(
        help="Number of the round; the newest when left out.", show_default=False, min=1, max=LARGEST
    ),
]


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="round")


@group.command("make")
def make(
    members: Annotated[
        list[str],
        typer.Argument(help="Vehicles by name, or one list from a spreadsheet.", metavar="VEHICLE... | FILE"),
    ],
    name: Annotated[str | None, typer.Option(help="What to call the round.", show_default=False)] = None,
    technician: Annotated[str | None, typer.Option(help="Who walks it.", show_default=False)] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Make a round from vehicles the history knows, or from a list (.csv, .xlsx) with the columns vehicle, type, depot,
    rear_positions, rear_class_khz, front_positions, front_class_khz. A long list makes several rounds."""
    output = Output(as_json)
    with open_store(db, making=True) as store, store.write() as connection:
        if len(members) == 1 and Path(members[0]).suffix.lower() in LIST_FILES:
            chosen = rounds.enter(connection, lines.read(Path(members[0])), now_ms())
        else:
            chosen = [vehicles.find(connection, member) for member in members]
        parts = rounds.parted(chosen)
        made = [
            rounds.make(
                connection, part, now_ms(), name=_part_name(name, n, len(parts)), technician=technician
            )
            for n, part in enumerate(parts, 1)
        ]
        notes = [note for round_ in made for note in _namesakes(connection, round_)]
    if len(made) > 1:
        notes.append(
            f"A round holds {rounds.VEHICLES_MAX} vehicles: these {len(chosen)} make {len(made)} rounds."
        )
    for round_ in made:
        _show(output, round_)
    for note in notes:
        output.say(note)
    first, *more = map(_object, made)
    output.done({**first, "notes": notes, "more_rounds": more})


def _part_name(name: str | None, number: int, count: int) -> str | None:
    return name if count == 1 else f"{name or 'part'} {number} of {count}"


def _namesakes(connection: Connection, round_: Round) -> list[str]:
    """Which vehicle a name means, where a retired one had it too."""
    return [
        f"{vehicle.name} is {vehicle.number}; {other.number}, which had the name before, is retired."
        for vehicle in round_.vehicles
        for other in vehicles.retired_namesakes(connection, vehicle)
    ]


def _retired(round_: Round) -> list[str]:
    """What must be known of a round's vehicles that were retired after it was made."""
    return [
        f"{vehicle.name} ({vehicle.number}) was retired after this round was made; leave it out, or make another."
        for vehicle in round_.vehicles
        if vehicle.retired_ms is not None
    ]


@group.command("print")
def print_(
    number: Number = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the sheet as a page for the printer.", show_default=False)
    ] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Print the round sheet that the technician carries: the bar's vehicle numbers and what each means."""
    output = Output(as_json)
    with open_store(db) as store, store.read() as connection:
        round_ = rounds.load(connection, number)
    _show(output, round_)
    for note in _retired(round_):
        output.say(note)
    if out is not None:
        write_text(out, sheets.round_sheet(round_))
        output.say(f"Wrote {out}.")
    output.done({**_object(round_), "notes": _retired(round_)})


@group.command("send")
def send(number: Number = None, port: Port = None, db: Db = None, as_json: Json = False) -> None:
    """Send a round to the probe that is plugged in."""
    output = Output(as_json)
    with open_store(db) as store, connect(port) as probe:
        with store.read() as connection:
            round_ = rounds.load(connection, number)
        send_round(store, probe, round_)
    notes = _retired(round_)
    output.say(f"Probe {probe.unique_id} has round {round_.number}: {len(round_.vehicles)} vehicles.")
    for note in notes:
        output.say(note)
    summary = {"round": round_.number, "probe": probe.unique_id, "vehicles": len(round_.vehicles)}
    output.done({**summary, "notes": notes})


def _show(output: Output, round_: Round) -> None:
    def fitted(place: int, number: int) -> str:
        bumper = round_.vehicles[place - 1].bumper(number)
        return f"{bumper.positions} x {bumper.class_khz or 'custom'} kHz" if bumper.positions else "-"

    output.table(
        ("bar", "vehicle", "type", *names.BUMPERS),
        [
            (place, vehicle.name, vehicle.type, fitted(place, names.REAR), fitted(place, names.FRONT))
            for place, vehicle in enumerate(round_.vehicles, 1)
        ],
        f"Round {round_.number}"
        + (f" - {round_.name}" if round_.name else "")
        + (f" - {round_.technician}" if round_.technician else ""),
    )


def _object(round_: Round) -> dict[str, Any]:
    return {
        "round": round_.number,
        "name": round_.name,
        "technician": round_.technician,
        "made_ms": round_.made_ms,
        "vehicles": [{"place": place, **as_object(v)} for place, v in enumerate(round_.vehicles, 1)],
    }
