"""`curbtick work`, `swap` and `assign`: what is to do, what was done, and where readings belong."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer
from curbtick_wire import names

from curbtick.commands.history.vehicles import bumper_number
from curbtick.commands.output import By, Db, Json, Output
from curbtick.dates import date, now_ms, when
from curbtick.errors import InputError
from curbtick.fleet import leaks, vehicles
from curbtick.fleet.places import state
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.vehicles import Vehicle
from curbtick.fleet.work import assign as assigning
from curbtick.fleet.work import findings, reread, swap
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.reread import Again
from curbtick.limits import repeat
from curbtick.report import build
from curbtick.report.views.places import place_words, reading_place, reasons_in_words
from curbtick.store.history import open_store

group = typer.Typer(help="The work list.", invoke_without_command=True)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="work")
    app.command("swap")(swap_)
    app.command("assign")(assign)


@group.callback()
def work(
    ctx: typer.Context,
    vehicle: Annotated[str | None, typer.Option(help="Of this vehicle alone.", show_default=False)] = None,
    all_: Annotated[bool, typer.Option("--all", help="Proved ones too.")] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List what is to do: each finding with the next step a workshop would try, what is to be read again, and how
    many readings belong to no vehicle.
    """
    if ctx.invoked_subcommand is not None:
        return
    output = Output(as_json)
    states = (findings.OPEN, findings.DONE, findings.PROVED) if all_ else (findings.OPEN, findings.DONE)
    with open_store(db) as store, store.read() as connection:
        chosen = [vehicles.find(connection, vehicle)] if vehicle else vehicles.in_use(connection)
        found = findings.load(connection, states, chosen[0].id if vehicle else None)
        standing = state.of_vehicles(connection, chosen)
        loose = {} if vehicle else reread.loose_counts(connection)
        bodies = leaks.of_vehicles(connection)
    in_service = [one for one in chosen if one.retired_ms is None]
    body = [(one, words) for one in in_service for words in bodies.get(one.id, leaks.NO_BODY).pointers]
    places = reread.of_states(standing, found)
    for finding in found:
        _say_finding(output, finding)
    for one, words in body:
        output.say(f"   -  {one.name}, body: {words}")
    _say_rest(output, standing, places, loose, has_findings=bool(found or body))
    output.done(
        {
            "findings": [finding_object(finding) for finding in found],
            "read_again": [_again_object(place) for place in places],
            "body": [{"vehicle_id": one.id, "vehicle": one.name, "words": words} for one, words in body],
            "unread": sum(one.count("unread") for one in standing),
            "without_vehicle": loose,
        }
    )


def _say_rest(
    output: Output,
    standing: list[VehicleState],
    places: list[Again],
    loose: dict[str, int],
    *,
    has_findings: bool,
) -> None:
    """What no finding says: places to be read again, readings without a vehicle, positions never read."""
    for found in places:
        _say_again(output, found)
    if loose:
        output.say(reread.loose_words(loose))
    if not (has_findings or places or loose):
        output.say("Nothing to do.")
    unread = sum(one.count("unread") for one in standing)
    if unread:
        output.say("1 position was never read." if unread == 1 else f"{unread} positions were never read.")


def _say_again(output: Output, found: Again) -> None:
    place = found.place
    assert place.reading is not None
    why = f" ({reasons_in_words(place.reasons)})" if place.reasons else ""
    where = f"{found.vehicle.name}, {place_words(place.bumper, place.position)}"
    taken = f"{place.reading.ref}, {when(place.reading.time_ms)}"
    output.say(f"   -  {where}: {place.verdict}{why}; reading {taken}")
    output.say(f"      next: {found.next_words}")


def _again_object(found: Again) -> dict[str, Any]:
    """A place to be read again, in JSON."""
    place = found.place
    assert place.reading is not None
    return {
        "vehicle_id": found.vehicle.id,
        "vehicle": found.vehicle.name,
        "bumper": names.BUMPERS[place.bumper],
        "position": place.position,
        "verdict": place.verdict,
        "reasons": list(place.reasons),
        "reading": place.reading.ref,
        "time_ms": place.reading.time_ms,
        "next_words": found.next_words,
    }


def _say_finding(output: Output, finding: Finding) -> None:
    where = place_words(finding.bumper, finding.position)
    why = f" ({reasons_in_words(finding.reasons)})" if finding.reasons else ""
    what = finding.what.replace("_", " ")
    since = date(finding.opened_ms)
    output.say(f"{finding.id:4}  {finding.vehicle}, {where}: {what}{why}; {finding.state} since {since}")
    if finding.next_words:
        output.say(f"      next: {finding.next_words}")


def finding_object(finding: Finding) -> dict[str, Any]:
    """A finding in JSON."""
    return {
        **asdict(finding),
        "bumper": names.BUMPERS[finding.bumper],
        "next_step": finding.next_step,
        "next_words": finding.next_words,
    }


@group.command("done")
def done(
    finding: Annotated[int, typer.Argument(help="Number of the finding.")],
    step: Annotated[str, typer.Argument(help="What was done: " + ", ".join(findings.STEP_WORDS))],
    note: Annotated[
        str | None, typer.Option(help="Words to keep, fault codes for one.", show_default=False)
    ] = None,
    by: By = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Note a step on a finding; a later reading that passes proves it."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        findings.note(connection, finding, step, now_ms(), by, note)
    output.say(f"Noted on finding {finding}: {findings.STEP_WORDS[step]}.")
    output.done({"finding": finding, "step": step})


@group.command("print")
def print_(
    out: Annotated[Path, typer.Option(help="Folder for the pages.")] = Path("report"),
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write the work list for the printer, one page for each vehicle, with boxes to tick and a line to
    sign.
    """
    output = Output(as_json)
    with open_store(db) as store, output.progress("Writing pages") as tick:
        build(store, out, now_ms(), now_ms(), tick)
    output.say(f"Wrote {out / 'work.html'}.")
    output.done({"page": str(out / "work.html")})


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
            output.say(f"Swap {chosen.id} is taken back.")
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


def assign(
    refs: Annotated[
        list[str] | None,
        typer.Argument(help="Readings, or ranges such as a1b2c3-17..24.", show_default=False),
    ] = None,
    vehicle: Annotated[str | None, typer.Option(help="Where they belong.", show_default=False)] = None,
    bumper: Annotated[str | None, typer.Option(help="rear or front.", show_default=False)] = None,
    position: Annotated[
        int | None, typer.Option(help="Position of the first one.", show_default=False)
    ] = None,
    undo: Annotated[int | None, typer.Option(help="Take back an assignment.", show_default=False)] = None,
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
            count = assigning.undo(connection, undo, now_ms())
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
    chosen = assigning.parse_range(connection, refs)
    target = vehicles.find(connection, vehicle)
    number = None if bumper is None else bumper_number(bumper)
    key = assigning.to_vehicle(
        connection, chosen, target, now_ms(), bumper=number, first_position=position, by=by, why=why
    )
    findings.refresh(connection)
    output.say(
        f"{len(chosen)} readings belong to {target.name} now. `curbtick assign --undo {key}` takes it back."
    )
    output.done({"assignment": key, "readings": [r.ref for r in chosen], "vehicle": target.name})


def _list(output: Output, connection: Any) -> None:
    loose = assigning.unassigned(connection)
    standing = assigning.standing(connection)
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
