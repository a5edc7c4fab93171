"""`curbtick virtual`: a virtual probe in a terminal."""

from pathlib import Path
from typing import Annotated

import typer

from curbtick.commands.output import Seed
from curbtick.virtual.panel.terminal import run


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("virtual")(virtual)


def virtual(
    flash: Annotated[
        Path | None,
        typer.Option(help="File that keeps the probe's flash over restarts.", show_default=False),
    ] = None,
    seed: Seed = 1,
    pair: Annotated[bool, typer.Option("--pair", help="Start with STEP held, ready for pairing.")] = False,
) -> None:
    """Hold a virtual probe: keys are the buttons, the bar is drawn here, its pty is printed for a second
    terminal.
    """
    run(flash, seed, pair)
