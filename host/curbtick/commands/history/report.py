"""`curbtick report` and `curbtick open`: the pages, as files and as a page of this computer alone."""

import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import day_start_ms, now_ms
from curbtick.report import build
from curbtick.store.history import open_store
from curbtick.web.server import serve


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("report")(report)
    app.command("open")(open_)


def report(
    out: Annotated[Path, typer.Option(help="Folder for the pages.")] = Path("report"),
    day: Annotated[
        str | None, typer.Option(help="The day, such as 2026-11-24; today when left out.", show_default=False)
    ] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write the report: the day, the fleet, every vehicle, the work list, limits and probes."""
    output = Output(as_json)
    start_ms = day_start_ms(day)
    with open_store(db) as store, output.progress("Writing pages") as tick:
        built = build(store, out, start_ms, now_ms(), tick)
    output.say(f"Wrote {built.pages} pages with {built.readings} readings of the day: {built.index}")
    output.done({"index": str(built.index), "pages": built.pages, "readings": built.readings})


def open_(
    number: Annotated[
        int,
        typer.Option(
            "--number", help="Number of the port to serve on; 0 takes a free one.", min=0, max=65535
        ),
    ] = 0,
    browser: Annotated[bool, typer.Option(help="Show it in the browser.")] = True,
    db: Db = None,
) -> None:
    """Serve the pages to this computer alone, with live pulling, assigning, swaps and work done. Stop with
    Ctrl-C.
    """
    output = Output(False)
    with open_store(db, making=True) as store:
        server = serve(store, number)
        output.say(f"Open {server.url} in a browser of this computer. Ctrl-C stops.")
        if browser:
            webbrowser.open(server.url)
        server.run()
