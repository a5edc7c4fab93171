"""`curbtick reading` and `curbtick export`: one reading in full, and many of them for other tools."""

from pathlib import Path
from typing import Annotated, Any

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import day_start_ms, when
from curbtick.errors import InputError
from curbtick.fleet import readings
from curbtick.fleet.readings import Reading
from curbtick.report import export
from curbtick.report.drawings import picture
from curbtick.report.pages.reading import remeasured
from curbtick.sound.snippet import FLOOR_DB, Snippet, centre_hz, envelope_db, write_wav
from curbtick.store.history import open_store


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command("reading")(reading)
    app.command("export")(export_readings)


def reading(
    ref: Annotated[str, typer.Argument(help="A reading as the report shows it, such as a1b2c3-17.")],
    picture_file: Annotated[
        Path | None,
        typer.Option("--picture", help="Waveform, envelope, spectrum, spectrogram.", show_default=False),
    ] = None,
    wav: Annotated[
        Path | None, typer.Option(help="The snippet at its true rate.", show_default=False)
    ] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Show one reading: the probe's own numbers, and what the bench measures on its snippet."""
    output = Output(as_json)
    with open_store(db) as store, store.read() as connection:
        found = readings.by_ref(connection, ref)
        shown = readings.as_object(connection, found)
        snippet = readings.waves_of(connection, found)
    _say(output, shown, snippet)
    shown["remeasured"] = None if snippet is None else _remeasured(snippet)
    if picture_file is not None:
        picture.save(_needed(found, snippet), f"Reading {found.ref}", picture_file)
        output.say(f"Wrote {picture_file}.")
    if wav is not None:
        write_wav(_needed(found, snippet), wav)
        output.say(f"Wrote {wav}.")
    output.done(shown)


def _needed(found: Reading, snippet: Snippet | None) -> Snippet:
    if snippet is None:
        raise InputError(
            f"Reading {found.ref} has no snippet.",
            "The reading itself is whole.",
            "Choose another; a probe drops snippets first when its space runs short.",
        )
    return snippet


def _say(output: Output, shown: dict[str, Any], snippet: Snippet | None) -> None:
    rows = [
        (name, value)
        for name, value in shown.items()
        if name not in ("bursts", "reasons", "time_ms") and value is not None
    ]
    rows.insert(1, ("time", when(shown["time_ms"])))
    rows.append(("reasons", ", ".join(shown["reasons"])))
    rows.append(("sounds heard", len(shown["bursts"])))
    rows += [
        (f"bench: {name.lower()}", value) for name, value in ([] if snippet is None else remeasured(snippet))
    ]
    output.table(("", "value"), rows, f"Reading {shown['reading']}")


def _remeasured(snippet: Snippet) -> dict[str, float]:
    return {
        "level_db": float(envelope_db(snippet).max(initial=FLOOR_DB)),
        "frequency_hz": centre_hz(snippet),
    }


def export_readings(
    out: Annotated[Path, typer.Argument(help="The file to write; with --wav the folder.")],
    since: Annotated[
        str | None, typer.Option(help="From this day on, such as 2026-11-01.", show_default=False)
    ] = None,
    form: Annotated[
        str | None,
        typer.Option("--format", help="csv, parquet or json; by the file's ending.", show_default=False),
    ] = None,
    wav: Annotated[bool, typer.Option("--wav", help="Write the snippets as WAV files instead.")] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Write readings for other tools, with a data dictionary beside them."""
    output = Output(as_json)
    since_ms = day_start_ms(since) if since else 0
    with open_store(db) as store, store.read() as connection, output.progress("Exporting"):
        if wav:
            count = len(export.write_wavs(connection, readings.since(connection, since_ms), out))
        else:
            count = export.write(_format(form, out), out, export.rows(connection, since_ms))
    output.say(f"Wrote {count} {'snippets' if wav else 'readings'} to {out}.")
    output.done({"written": count, "to": str(out)})


def _format(form: str | None, out: Path) -> str:
    chosen = (form or out.suffix.lstrip(".")).lower()
    if chosen not in export.FORMATS:
        raise InputError(
            f"There is no export format {chosen or '(none)'}.",
            "Nothing was written.",
            f"Name one of {', '.join(export.FORMATS)} with --format, or by the file's ending.",
        )
    return chosen
