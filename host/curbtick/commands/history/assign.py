"""`curbtick assign`: the vehicle that readings belong to."""

from dataclasses import asdict
from typing import Annotated, Any

import typer

from curbtick.commands.history.vehicles import bumper_number
from curbtick.commands.output import By, Db, Json, Output
from curbtick.dates import now_ms, when
from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.work import assign, findings
from curbtick.numbers import LARGEST
from curbtick.report.views.places import reading_place
from curbtick.store.history import open_store


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("assign")(assign_readings)


def assign_readings(
    refs: Annotated[
        list[str] | None,
        typer.Argument(help="Readings, or ranges such as a1b2c3-17..24.", show_default=False),
    ] = None,
    vehicle: Annotated[str | None, typer.Option(help="Where they belong.", show_default=False)] = None,
    bumper: Annotated[str | None, typer.Option(help="rear or front.", show_default=False)] = None,
    position: Annotated[
        int | None, typer.Option(help="Position of the first one.", show_default=False)
    ] = None,
    undo: Annotated[
        int | None, typer.Option(help="Take back an assignment.", show_default=False, min=1, max=LARGEST)
    ] = None,
    why: Annotated[str | None, typer.Option(help="Words to keep.", show_default=False)] = None,
    by: By = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Match readings to a vehicle afterwards; the original is kept, and --undo takes it back. Without
    readings: a list of those that belong to no vehicle and of the assignments that stand.
    """
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        if undo is not None:
            count = assign.undo(connection, undo, now_ms())
            findings.refresh(connection)
            output.say(f"Assignment {undo} is taken back: {count} readings are where they were.")
            output.done({"undone": undo, "readings": count})
        elif refs:
            _assign(output, connection, refs, vehicle, bumper, position, by, why)
        else:
            _list(output, connection)


def _assign(  # noqa: PLR0913
    output: Output,
    connection: Any,
    refs: list[str],
    vehicle: str | None,
    bumper: str | None,
    position: int | None,
    by: str | None,
    why: str | None,
) -> None:
    if vehicle is None:
        raise InputError(
            "It is not said where these readings belong.", "Nothing was changed.", "Give --vehicle."
        )
    chosen = assign.parse_range(connection, refs)
    target = vehicles.find(connection, vehicle)
    number = None if bumper is None else bumper_number(bumper)
    key = assign.to_vehicle(
        connection, chosen, target, now_ms(), bumper=number, first_position=position, by=by, why=why
    )
    findings.refresh(connection)
    output.say(
        f"{len(chosen)} readings belong to {target.name} now. `curbtick assign --undo {key}` takes it back."
    )
    output.done({"assignment": key, "readings": [r.ref for r in chosen], "vehicle": target.name})


def _list(output: Output, connection: Any) -> None:
    loose = assign.unassigned(connection)
    standing = assign.standing(connection)
    output.table(
        ("reading", "when", "vehicle on the probe", "place", "verdict"),
        [(r.ref, when(r.time_ms), r.values["vehicle"], reading_place(r), r.verdict) for r in loose],
        "Readings that belong to no vehicle",
    )
    output.table(
        ("assignment", "when", "by", "readings", "why"),
        [(a.id, when(a.at_ms), a.by, a.readings, a.why) for a in standing],
        "Assignments that stand",
    )
    output.done({"unassigned": [r.ref for r in loose], "assignments": [asdict(a) for a in standing]})
