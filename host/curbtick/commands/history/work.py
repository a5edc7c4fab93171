"""`curbtick work`: what is to do, and what was done."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer
from curbtick_wire import names

from curbtick.commands.output import By, Db, Json, Output
from curbtick.dates import date, now_ms, when
from curbtick.fleet import leaks, vehicles
from curbtick.fleet.places import state
from curbtick.fleet.places.state import VehicleState
from curbtick.fleet.work import findings, plans, reread
from curbtick.fleet.work.findings import Finding
from curbtick.fleet.work.reread import Again
from curbtick.report import build
from curbtick.report.views import site_map, todo
from curbtick.report.views.places import place_words, reasons_in_words
from curbtick.store.history import open_store

group = typer.Typer(help="The work list.", invoke_without_command=True)


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.add_typer(group, name="work")


@group.callback()
def work(
    ctx: typer.Context,
    vehicle: Annotated[str | None, typer.Option(help="Of this vehicle alone.", show_default=False)] = None,
    all_: Annotated[bool, typer.Option("--all", help="Proved ones too.")] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List what is to do: each finding with the next step a workshop would try, what is to be read again, and how
    many readings belong to no vehicle; worst first.
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
    found.sort(key=lambda one: (todo.RANKS.index(one.what), one.opened_ms, one.vehicle.lower()))
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
    reading_words = f"{place.reading.ref}, {when(place.reading.time_ms)}"
    output.say(f"   -  {where}: {place.verdict}{why}; reading {reading_words}")
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
    step: Annotated[str, typer.Argument(help="What was done: " + ", ".join(plans.STEP_WORDS))],
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
    output.say(f"Noted on finding {finding}: {plans.STEP_WORDS[step]}.")
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
        build(store, out, None, now_ms(), tick)
    page = out / site_map.WORK.file
    output.say(f"Wrote {page}.")
    output.done({"page": str(page)})
