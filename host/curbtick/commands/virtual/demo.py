"""`curbtick demo`, `curbtick replay` and `curbtick virtual`: the real firmware on this computer."""

import json
from pathlib import Path
from typing import Annotated

import typer
from curbtick_wire import classes, names

from curbtick.cautions import CAUTIONS
from curbtick.commands.output import Json, Output, write_text
from curbtick.commands.virtual.leaks import (
    BackgroundFile,
    LeakFiles,
    ReferenceAfterFile,
    ReferenceFile,
    check_gain,
    replay_leaks,
)
from curbtick.errors import InputError, StoreError
from curbtick.sound.tone import DEFAULT_HZ
from curbtick.store.history import open_store, probes_in

_PARTS = {"readings": "readings", "bumpers": "bumper results", "checks": "sections of seal and hiss checks"}

UNFINISHED = "demo-unfinished.txt"
# What a demo makes and the next one takes away; nothing else in its folder is touched.
MADE = (
    "curbtick.db",
    "curbtick.db-wal",
    "curbtick.db-shm",
    "summary.json",
    *(f"report/{page}.html" for page in ("index", "fleet", "work", "fading", "limits", "probes")),
    "report/vehicle-*.html",
    "report/reading-*.html",
)

Seed = Annotated[int, typer.Option(help="Seed of everything random.", min=0)]


def register(app: typer.Typer) -> None:
    """Add the commands of this module."""
    app.command("demo")(demo)
    app.command("replay")(replay)
    app.command("virtual")(virtual)


def demo(
    out: Annotated[Path, typer.Option(help="Folder for history, report and summary.")] = Path("demo"),
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Run a depot day: the real firmware, a technician in an invented yard, the bench, the report.

    Writes curbtick.db, report/index.html and summary.json. Exit code 1 when anything came out other than it
    must.
    """
    from curbtick.virtual.demo.demo import Demo

    output = Output(as_json)
    for caution in CAUTIONS:
        output.say(caution)
    _make_room(out)
    with open_store(out / "curbtick.db", making=True) as store:
        summary = Demo(store, out, seed, output.say).run()
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
    from curbtick.virtual.probe.process import DEFAULT_ID

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


def replay(
    file: Annotated[Path, typer.Argument(help="Mono WAV of at least 160,000 samples a second.")],
    class_: Annotated[
        str, typer.Option("--class", help=f"{classes.class_list()}, or auto: {classes.auto_meaning()}.")
    ] = "auto",
    mode: Annotated[str, typer.Option(help="Which check hears it: bumper, seal or hiss.")] = "bumper",
    tone_hz: Annotated[int, typer.Option("--tone", help="Seal: the source's frequency in Hz.")] = DEFAULT_HZ,
    reference: ReferenceFile = None,
    reference_after: ReferenceAfterFile = None,
    background: BackgroundFile = None,
    gain_db: Annotated[float, typer.Option(help="Gain in dB; 0: the file's full scale is the ADC's.")] = 0.0,
    seed: Seed = 1,
    as_json: Json = False,
) -> None:
    """Play a recording through the real firmware as one reading, or one section of a check, from its start."""
    check_gain(gain_db)
    files = LeakFiles(file, reference, reference_after, background)
    if mode != names.CHECKS[names.CHECK_BUMPER]:
        replay_leaks(mode, files, tone_hz, gain_db, seed, Output(as_json))
        return
    files.refuse_in_bumper_mode()
    from curbtick.sound.recording import read_wav
    from curbtick.virtual.replay.bumper import parse_class
    from curbtick.virtual.replay.bumper import replay as play

    output = Output(as_json)
    class_khz = parse_class(class_)
    found = play(read_wav(file), class_khz=class_khz, gain_db=gain_db, seed=seed)
    reasons = f" ({', '.join(found['reasons'])})" if found["reasons"] else ""
    output.say(f"{found['verdict'].upper()}{reasons}")
    columns = ("time_ms", "level_db", "frequency_hz", "length_ms", "kind")
    output.table(columns, [[burst[column] for column in columns] for burst in found["bursts"]], "Sounds")
    output.done(found)


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
    from curbtick.virtual.panel.terminal import run

    run(flash, seed, pair)
