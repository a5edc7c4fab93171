"""`curbtick report`: the pages as files."""

from pathlib import Path
from typing import Annotated

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import day_start_ms, now_ms
from curbtick.report import build
from curbtick.store.history import open_store


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("report")(report)


def report(
    out: Annotated[Path, typer.Option(help="Folder for the pages.")] = Path("report"),
    day: Annotated[
        str | None,
        typer.Option(
            help="The day, such as 2026-11-24; the newest with readings when left out.", show_default=False
        ),
    ] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write the report: what is to do, the day, the fleet, every vehicle, the work list, limits and probes."""
    output = Output(as_json)
    start_ms = None if day is None else day_start_ms(day)
    with open_store(db) as store, output.progress("Writing pages") as tick:
        built = build(store, out, start_ms, now_ms(), tick)
    output.say(f"Wrote {built.pages} pages with {built.readings} readings of the day: {built.index}")
    output.done({"index": str(built.index), "pages": built.pages, "readings": built.readings})
