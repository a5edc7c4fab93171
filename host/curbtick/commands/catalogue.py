"""Every command of `curbtick`: its name, the module that holds it, and its words in the list of commands.

The list is shown without loading a command: what a command works with (a database, a signal library) takes longer to
load than most commands run. A test holds the words to the first paragraph of each command's own help.
"""

from importlib import import_module
from typing import Any, NamedTuple

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_group


class Row(NamedTuple):
    """A command: its name; its module below curbtick.commands, which has `register(app)`; what it does."""

    name: str
    module: str
    words: str


COMMANDS = (
    Row(
        "pull",
        "probe.probes",
        "Take over every record of the probe that is plugged in, each exactly once.",
    ),
    Row(
        "reading",
        "history.reading",
        "Show one reading: the probe's own numbers, and what the bench measures on its snippet.",
    ),
    Row("export", "history.reading", "Write readings for other tools, with a data dictionary beside them."),
    Row(
        "report",
        "history.report",
        "Write the report: what is to do, the day, the fleet, every vehicle, the work list, limits and probes.",
    ),
    Row(
        "open",
        "history.open",
        "Serve the pages to this computer alone, with live pulling, assigning, swaps and work done. "
        "Stop with Ctrl-C.",
    ),
    Row(
        "card",
        "virtual.card",
        "Write the technician's card for the printer: the bar's patterns, the buttons, the walk, the cautions.",
    ),
    Row(
        "swap",
        "history.swap",
        "Note that two sensors changed places, or say whether the fault moved with the sensor or stayed with "
        "the wiring.",
    ),
    Row(
        "assign",
        "history.assign",
        "Match readings to a vehicle afterwards; the original is kept, and --undo takes it back. Without "
        "readings: a list of those that belong to no vehicle and of the assignments that stand.",
    ),
    Row(
        "demo",
        "virtual.demo",
        "Run a depot day: the real firmware, a technician in an invented yard, the bench, the report.",
    ),
    Row(
        "replay",
        "virtual.replay",
        "Play a recording through the real firmware as one reading, or one section of a check, from its start.",
    ),
    Row(
        "virtual",
        "virtual.probe",
        "Hold a virtual probe: keys are the buttons, the bar is drawn here, its pty is printed for a second "
        "terminal.",
    ),
    Row("tone", "virtual.tone", "Write the seal check's tone as a WAV for any player."),
    Row(
        "leak",
        "virtual.leak",
        "Say what a hole of this size loses at this pressure, by the formula of choked flow.",
    ),
    Row(
        "install",
        "probe.install",
        "Put this release's firmware on a board that runs MicroPython; readings on it stay as they are.",
    ),
    Row(
        "sync",
        "history.db",
        "Bring what a bench pulled and noted in its own file, while the server was out of reach, into the "
        "server's history.",
    ),
    Row("probes", "probe.probes", "Probes: plugged in and known."),
    Row("vehicles", "history.vehicles", "The fleet's vehicles and what their bumpers carry."),
    Row("round", "probe.round", "The day's round: its vehicles in order."),
    Row("limits", "probe.limits", "Limit sets: what the probe judges by."),
    Row("work", "history.work", "The work list."),
    Row("study", "history.study", "A repeatability study: several technicians, sensors, repeats."),
    Row("db", "history.db", "The history's database: version, copies, roles, who pulls into it."),
)


def listed() -> dict[str, Any]:
    """Return each command by its name, as far as the list of commands shows it."""
    return {row.name: TyperCommand(name=row.name, help=row.words) for row in COMMANDS}


def load(name: str) -> Any:
    """Return a command of the list in full."""
    row = next(row for row in COMMANDS if row.name == name)
    return of_module(row.module).commands[name]


def of_module(module: str) -> TyperGroup:
    """Return the commands of a module below curbtick.commands."""
    app = typer.Typer(rich_markup_mode="rich")
    import_module(f"curbtick.commands.{module}").register(app)
    return get_group(app)
