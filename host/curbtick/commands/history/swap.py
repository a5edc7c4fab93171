"""`curbtick swap`: two sensors changed places, and what the fault did."""

from dataclasses import asdict
from typing import Annotated, Any

import typer
from curbtick_wire import names

from curbtick.commands.history.vehicles import bumper_number
from curbtick.commands.output import By, Db, Json, Output
from curbtick.dates import now_ms
from curbtick.errors import InputError
from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work import findings, swap
from curbtick.limits import repeat
from curbtick.store.history import open_store


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("swap")(swap_)


def swap_(
    vehicle: Annotated[str, typer.Argument(help="The vehicle.")],
    position_a: Annotated[int, typer.Argument(help="Position of one sensor.")],
    position_b: Annotated[int, typer.Argument(help="Position of the other.")],
    bumper: Annotated[
        str | None,
        typer.Option(help="rear or front; found from the findings when left out.", show_default=False),
    ] = None,
    decide: Annotated[
        bool, typer.Option("--decide", help="Only say what the readings tell; note nothing.")
    ] = False,
    undo: Annotated[bool, typer.Option("--undo", help="Take back the newest swap of the two.")] = False,
    by: By = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Note that two sensors changed places, or say whether the fault moved with the sensor or stayed with
    the wiring.
    """
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        found = vehicles.find(connection, vehicle)
        number = (
            bumper_number(bumper) if bumper else _faulty_bumper(connection, found, position_a, position_b)
        )
        if decide or undo:
            chosen = _newest_swap(connection, found, number, {position_a, position_b})
        if undo:
            swap.undo(connection, chosen.id, now_ms())
            output.say(f"The swap of {position_a} and {position_b} is taken back.")
            output.done({"swap": chosen.id, "undone": True})
        elif decide:
            _decide(output, connection, chosen)
        else:
            key = swap.record(connection, found, number, position_a, position_b, now_ms(), by)
            _note_swap(connection, found, number, (position_a, position_b), by)
            output.say(
                f"Noted: {names.BUMPERS[number]} {position_a} and {position_b} of {found.name} changed places."
            )
            output.say(
                f"Read both again, pull, then `curbtick swap '{found.name}' {position_a} {position_b} --decide`."
            )
            output.done({"swap": key, "bumper": names.BUMPERS[number]})


def _decide(output: Output, connection: Any, chosen: swap.Swap) -> None:
    repeats = repeat.of_fleet(connection)
    decision = swap.decide(connection, chosen, repeats)
    output.say(swap.words(chosen, decision, repeats))
    measured = {"repeatability_db": repeats.level_db, "repeatability_pairs": repeats.pairs}
    output.done(
        {"swap": chosen.id, **asdict(decision), **measured, "repeatability_measured": repeats.is_measured}
    )


def _note_swap(
    connection: Any, vehicle: Vehicle, number: int, positions: tuple[int, int], by: str | None
) -> None:
    for finding in findings.load(connection, (findings.OPEN, findings.DONE), vehicle.id):
        if finding.bumper == number and finding.position in positions:
            findings.note(connection, finding.id, "swap", now_ms(), by)


def _faulty_bumper(connection: Any, vehicle: Vehicle, a: int, b: int) -> int:
    """The one bumper with a finding at either position; the only bumper, where there is but one."""
    fitted = [number for number in range(len(names.BUMPERS)) if vehicle.bumper(number).positions]
    standing = state.of_vehicles(connection, [vehicle])[0]
    faulty = {p.bumper for p in standing.places if p.position in (a, b) and p.verdict in ("weak", "dead")}
    chosen = faulty or set(fitted)
    if len(chosen) != 1:
        raise InputError(
            f"It is not clear which bumper of {vehicle.name} is meant.",
            "Nothing was noted.",
            "Say --bumper rear or --bumper front.",
        )
    return chosen.pop()


def _newest_swap(connection: Any, vehicle: Vehicle, number: int, positions: set[int]) -> swap.Swap:
    found = [
        s
        for s in swap.of_vehicle(connection, vehicle.id)
        if s.bumper == number and {s.position_a, s.position_b} == positions
    ]
    if not found:
        raise InputError(
            f"No swap of these positions of {vehicle.name} is noted.",
            "Nothing was changed.",
            "Note it first, without --decide or --undo.",
        )
    return found[-1]
