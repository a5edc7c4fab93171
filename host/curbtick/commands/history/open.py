"""`curbtick open`: the pages, served to this computer alone."""

import webbrowser
from typing import Annotated

import typer

from curbtick.commands.output import Db, Output
from curbtick.store.history import open_store
from curbtick.web.server import serve


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("open")(open_)


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
