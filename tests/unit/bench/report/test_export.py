"""Exports are read back by other tools with the values that were stored, units named."""

import csv
import json
from datetime import datetime
from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.fleet import readings
from curbtick.report import export
from curbtick.store.history import Store
from pyarrow import parquet
from scipy.io import wavfile

from tests.unit.bench.benchdata import Logbook, add_round, add_vehicle
from tests.unit.bench.report.reportdata import Depot

NOW_MS = int(datetime(2026, 11, 24, 15, 0).astimezone().timestamp() * 1000)


@pytest.fixture(scope="module")
def depot(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Depot(tmp_path_factory.mktemp("export"), NOW_MS).store


def rows(store: Store, since_ms: int = 0) -> list[dict[str, object]]:
    with store.read() as connection:
        return list(export.rows(connection, since_ms))


def test_csv_and_parquet_hold_the_same_rows(depot: Store, tmp_path: Path) -> None:
    found = rows(depot)
    assert export.write("csv", tmp_path / "r.csv", iter(found)) == len(found)
    assert export.write("parquet", tmp_path / "r.parquet", iter(found)) == len(found)
    assert export.write("json", tmp_path / "r.json", iter(found)) == len(found)
    with (tmp_path / "r.csv").open(encoding="utf-8") as source:
        text = list(csv.DictReader(source))
    table = parquet.read_table(tmp_path / "r.parquet").to_pylist()
    lines = [json.loads(line) for line in (tmp_path / "r.json").read_text(encoding="utf-8").splitlines()]
    assert table == lines == found
    assert [row["reading"] for row in text] == [row["reading"] for row in found]
    assert [row["level_cdb"] for row in text] == [
        "" if r["level_cdb"] is None else str(r["level_cdb"]) for r in found
    ]


def test_the_dictionary_describes_every_column_with_its_unit(depot: Store, tmp_path: Path) -> None:
    export.write("csv", tmp_path / "r.csv", rows(depot))
    described = json.loads((tmp_path / "r.dictionary.json").read_text(encoding="utf-8"))["columns"]
    assert [column["name"] for column in described] == list(rows(depot)[0])
    assert all(column["meaning"] for column in described)
    units = {column["name"]: column["unit"] for column in described}
    assert units["level_cdb"] == "0.01 dB" and units["frequency_hz"] == "Hz" and units["battery_mv"] == "mV"
    assert units["interval_us"] == "µs" and units["verdict"] is None


def test_since_leaves_out_what_is_older(depot: Store) -> None:
    every = rows(depot)
    recent = rows(depot, NOW_MS - 86_400_000)
    assert 0 < len(recent) < len(every) and recent == every[-len(recent) :]


def test_what_is_not_known_is_empty(tmp_path: Path) -> None:
    with Store(tmp_path / "h.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        Logbook(store).visit(NOW_MS, {"round_id": 0, "level_cdb": -32768, "frequency_hz": 0}, anchor=False)
        row = rows(store)[0]
    assert [row[name] for name in ("time_utc", "time_ms", "vehicle", "level_cdb", "frequency_hz")] == [
        None
    ] * 5


def test_times_are_in_utc_whatever_the_bench_shows(depot: Store) -> None:
    row = rows(depot)[0]
    parsed = datetime.fromisoformat(str(row["time_utc"]))
    assert parsed.utcoffset() is not None and round(parsed.timestamp() * 1000) == row["time_ms"]


def test_snippets_become_wav_files_at_their_true_rate(depot: Store, tmp_path: Path) -> None:
    with depot.read() as connection:
        chosen = readings.between(connection, NOW_MS - 86_400_000, NOW_MS + 1)
        written = export.write_wavs(connection, chosen, tmp_path / "wavs")
    assert 40 < len(written) < len(chosen)
    rate_hz, samples = wavfile.read(written[0])
    assert (rate_hz, len(samples)) == (250_000, 384)


def test_a_file_that_cannot_be_written_is_said(depot: Store, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        export.write("csv", tmp_path / "none" / "r.csv", rows(depot))
