"""`curbtick card`: the sheet that a technician carries."""

from pathlib import Path
from typing import Annotated

import typer

from curbtick.commands.output import Json, Output, write_text
from curbtick.virtual.panel.card import card as card_page


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("card")(card)


def card(
    out: Annotated[Path, typer.Option(help="File for the page.")] = Path("card.html"), as_json: Json = False
) -> None:
    """Write the technician's card for the printer: the bar's patterns, the buttons, the walk, the cautions."""
    output = Output(as_json)
    write_text(out, card_page())
    output.say(f"Wrote {out}. Print it on one sheet of A4 or Letter.")
    output.done({"page": str(out)})
