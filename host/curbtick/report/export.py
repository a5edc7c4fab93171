"""Exports that other tools read: CSV and Parquet with units in the column names, JSON, a data dictionary,
snippets as WAV.
"""

import csv
import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from typing import Any

from curbtick_wire import names, records, texts
from sqlalchemy import Connection, select

from curbtick.errors import InputError, MissingProgramError
from curbtick.extras import how_to_install
from curbtick.fleet import readings
from curbtick.fleet.readings import Reading
from curbtick.sound.snippet import write_wav
from curbtick.store import tables

FORMATS = ("csv", "parquet", "json")
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_MEASURED = tuple(
    name
    for kind, _, fields, _ in records.KINDS
    if kind == records.READING
    for name, *_ in fields
    if name not in ("vehicle", "bumper", "position", "verdict", "reasons", "proofs", "input", "class_khz")
)

# name, type, what it is
COLUMNS: tuple[tuple[str, type, str], ...] = (
    ("reading", str, "Probe and sequence number, as everywhere else"),
    ("probe", str, "Name of the probe"),
    ("seq", int, "Permanent number of the record in the probe's log"),
    ("boot", int, "Start of the probe that the reading belongs to"),
    ("ticks_ms", int, "Milliseconds since that start"),
    ("time_utc", str, "Time by ISO 8601, empty where the start never met a bench"),
    ("time_ms", int, "The same in milliseconds since 1970 UTC"),
    ("vehicle", str, "Vehicle the bench holds the reading to belong to"),
    ("bumper", str, "rear or front"),
    ("position", int, "1 to 6, left to right as seen facing the bumper"),
    ("vehicle_on_probe", int, "Number of the vehicle in the round, as the probe wrote it"),
    ("bumper_on_probe", str, "Bumper as the probe wrote it"),
    ("position_on_probe", int, "Position as the probe wrote it"),
    ("class_khz", int, "Sensor class it was judged by, 0 for a custom class"),
    ("verdict", str, "pass, weak, dead or retry, as the bar showed it"),
    ("reasons", str, "Reason ids, separated by blanks"),
    ("proofs", str, "Proofs behind DEAD, separated by blanks"),
    ("input", str, "Input of the front end: low, padded (12 dB less) or high"),
    ("superseded", bool, "Whether the position was read again afterwards"),
    *((name, int, "") for name in _MEASURED),
)


def dictionary() -> dict[str, Any]:
    """What every column means, with its unit."""
    return {
        "about": "One row for each reading. Levels are hundredths of a dB of full scale (cdb); empty is not measured. "
        "In CSV an apostrophe stands before a text that begins with =, +, - or @, so that no spreadsheet runs it.",
        "columns": [
            {
                "name": name,
                "type": type_.__name__,
                "unit": unit_of(name),
                "meaning": meaning or _described(name),
            }
            for name, type_, meaning in COLUMNS
        ],
    }


def _described(name: str) -> str:
    """The description of a reading record's field, as the protocol's own specification has it."""
    return texts.FIELDS_OF.get(("reading", name)) or texts.FIELDS[name]


UNITS = {
    "_cdb": "0.01 dB",
    "_hz": "Hz",
    "_us": "µs",
    "_ms": "ms",
    "_mv": "mV",
    "_khz": "kHz",
    "_ddeg": "0.1 °C",
    "_permille": "1/1000",
}


def unit_of(name: str) -> str | None:
    """Unit by the end of a column's name."""
    return next((unit for end, unit in UNITS.items() if name.endswith(end)), None)


def rows(connection: Connection, since_ms: int = 0) -> Iterator[dict[str, Any]]:
    """Readings since a time as flat rows, fetched as they are used."""
    columns = tables.vehicles.c
    vehicle_names = {row.id: row.name for row in connection.execute(select(columns.id, columns.name))}
    for reading in readings.since(connection, since_ms):
        yield row_of(reading, vehicle_names)


def row_of(reading: Reading, vehicle_names: dict[int, str]) -> dict[str, Any]:
    """One reading as a flat row with exactly the names of COLUMNS."""
    values = reading.values
    time_ms = reading.time_ms
    return {
        "reading": reading.ref,
        "probe": reading.probe,
        "seq": reading.seq,
        "boot": reading.boot,
        "ticks_ms": reading.ticks_ms,
        "time_utc": None if time_ms is None else _utc(time_ms),
        "time_ms": time_ms,
        "vehicle": None if reading.vehicle_id is None else vehicle_names[reading.vehicle_id],
        "bumper": names.BUMPERS[reading.bumper],
        "position": reading.position,
        "vehicle_on_probe": values["vehicle"],
        "bumper_on_probe": names.BUMPERS[values["bumper"]],
        "position_on_probe": values["position"],
        "class_khz": values["class_khz"],
        "verdict": reading.verdict,
        "reasons": " ".join(reading.reasons),
        "proofs": " ".join(names.words_of(names.PROOFS, values["proofs"])),
        "input": names.INPUTS[values["input"]],
        "superseded": reading.superseded,
        **{name: values[name] for name in _MEASURED},
    }


def _utc(time_ms: int) -> str:
    return datetime.fromtimestamp(time_ms / 1000, UTC).isoformat(timespec="milliseconds")


def write(form: str, path: Path, found: Iterable[dict[str, Any]]) -> int:
    """Write rows to a file, the dictionary beside it; returns how many rows. Raises InputError,
    MissingProgramError.
    """
    writers = {"csv": _write_csv, "parquet": _write_parquet, "json": _write_json}
    try:
        count = writers[form](path, found)
        beside = path.with_suffix(".dictionary.json")
        beside.write_text(json.dumps(dictionary(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"{path} cannot be written: {error.strerror or error}.",
            "The history is unchanged.",
            "Name another file.",
        ) from error
    return count


def _write_csv(path: Path, found: Iterable[dict[str, Any]]) -> int:
    count = 0
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, [name for name, _, _ in COLUMNS])
        writer.writeheader()
        for row in found:
            writer.writerow({name: unformulated(value) for name, value in row.items()})
            count += 1
    return count


def unformulated(value: object) -> object:
    """A cell as text: an apostrophe stands before what a spreadsheet would run, as it begins with a FORMULA_SIGN."""
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA_SIGNS) else value


def _write_json(path: Path, found: Iterable[dict[str, Any]]) -> int:
    """One object a line, so that a long history need not fit into memory."""
    count = 0
    with path.open("w", encoding="utf-8") as out:
        for row in found:
            out.write(json.dumps(row, ensure_ascii=False) + "\n")
            count += 1
    return count


def _write_parquet(path: Path, found: Iterable[dict[str, Any]]) -> int:
    try:
        arrow, parquet = import_module("pyarrow"), import_module("pyarrow.parquet")
    except ImportError as error:
        raise MissingProgramError(
            "Parquet needs the package pyarrow.",
            "Nothing was written.",
            f"Run {how_to_install('parquet')}.",
        ) from error
    types = {str: arrow.string(), int: arrow.int64(), bool: arrow.bool_()}
    schema = arrow.schema([(name, types[type_]) for name, type_, _ in COLUMNS])
    count = 0
    with parquet.ParquetWriter(path, schema) as out:
        for batch in _batches(found, 10_000):
            out.write_table(arrow.Table.from_pylist(batch, schema=schema))
            count += len(batch)
    return count


def _batches(found: Iterable[dict[str, Any]], size: int) -> Iterator[list[dict[str, Any]]]:
    batch: list[dict[str, Any]] = []
    for row in found:
        batch.append(row)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


def write_wavs(connection: Connection, chosen: Iterable[Reading], folder: Path) -> list[Path]:
    """Write the snippet of each reading that has one as WAV at its true rate. Raises InputError."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for reading in chosen:
        snippet = readings.waves_of(connection, reading)
        if snippet is not None:
            path = folder / f"{reading.ref}.wav"
            write_wav(snippet, path)
            written.append(path)
    return written
