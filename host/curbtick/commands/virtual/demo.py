"""`curbtick demo`: a depot day with the real firmware on this computer."""

import json
from pathlib import Path
from typing import Annotated

import typer

from curbtick.cautions import CAUTIONS
from curbtick.commands.output import Json, Output, Seed, write_text
from curbtick.errors import InputError, StoreError
from curbtick.report.views import site_map
from curbtick.store.history import open_store, probes_in
from curbtick.virtual.demo import demo as demo_day
from curbtick.virtual.probe.process import DEFAULT_ID

_PARTS = {"readings": "readings", "bumpers": "bumper results", "checks": "sections of seal and hiss checks"}

UNFINISHED = "demo-unfinished.txt"
# What a demo makes and the next one takes away; nothing else in its folder is touched.
MADE = (
    "curbtick.db",
    "curbtick.db-wal",
    "curbtick.db-shm",
    "summary.json",
    *(f"report/{file}" for file in site_map.FILES),
)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("demo")(demo)


def demo(
    out: Annotated[Path, typer.Option(help="Folder for history, report and summary.")] = Path("demo"),
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Run a depot day: the real firmware, a technician in an invented yard, the bench, the report.

    Writes curbtick.db, report/index.html and summary.json. Exit code 1 when anything came out other than it
    must.
    """
    output = Output(as_json)
    for caution in CAUTIONS:
        output.say(caution)
    _make_room(out)
    with open_store(out / "curbtick.db", making=True) as store:
        summary = demo_day.Demo(store, out, seed, output.say).run()
    write_text(out / "summary.json", json.dumps(summary, indent=1, ensure_ascii=False) + "\n")
    (out / UNFINISHED).unlink(missing_ok=True)
    for difference in summary["differences"]:
        output.say(difference)
    counts = [f"{len(summary[part])} {words}" for part, words in _PARTS.items()]
    output.say(f"{', '.join(counts)}; {len(summary['differences'])} not as they must be.")
    output.done(summary)
    if not summary["agrees"]:
        raise typer.Exit(1)


def _make_room(out: Path) -> None:
    """Make the folder, and take away what an earlier demo left in it, finished or broken off; files that are
    not a demo's are left alone, and so is a history into which a real probe was pulled.
    """
    left = [
        path for pattern in MADE for path in sorted(out.glob(pattern)) if path.is_file() or path.is_symlink()
    ]
    if left and not _is_demo_folder(out):
        raise InputError(
            f"{left[0]} is there already and was not made by the demo.",
            "Nothing was changed.",
            "Name another folder with --out.",
        )
    _refuse_real(out / "curbtick.db")
    write_text(out / UNFINISHED, "A demo that was begun; the next one in this folder begins anew.\n")
    try:
        for path in left:
            path.unlink()
    except OSError as error:
        raise InputError(
            f"{out} cannot be made ready: {error.strerror}.",
            "No demo was run.",
            "Name another folder with --out.",
        ) from error


def _refuse_real(history: Path) -> None:
    """Raise for a history into which another probe than the demo's was pulled: no demo makes its records again."""
    next_step = "Name another folder with --out, or move the history to a place of its own first."
    try:
        others = [probe for probe in probes_in(history) if probe != DEFAULT_ID] if history.exists() else []
    except StoreError as error:
        raise StoreError(error.what, "Nothing was changed.", next_step) from error
    if others:
        what = f"{history} holds the records of a probe that is not the demo's: {', '.join(others)}."
        raise InputError(what, "Nothing was changed.", next_step)


def _is_demo_folder(out: Path) -> bool:
    """Whether a demo was begun here, or its summary says that it was finished."""
    if (out / UNFINISHED).is_file():
        return True
    try:
        found = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(found, dict) and {"seed", "agrees", "differences", *_PARTS} <= set(found)
