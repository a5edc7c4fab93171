"""Sections of the seal and hiss checks, from the log's records to the day's page."""

from pathlib import Path
from typing import Any

import pytest
from curbtick.fleet import leaks
from curbtick.fleet.leaks import Section
from curbtick.report.lookups import leaks_of_day
from curbtick.report.views.leaks import height_db, leak_views, section_map
from curbtick.store.history import Store, open_store
from curbtick_wire import codec, names, records

PROBE = "c0b0000000000001"
NONE = records.NONE_I16
SEAL_VALUES = {
    "round_id": 0,
    "vehicle": 3,
    "section": 1,
    "verdict": 2,
    "reasons": 0,
    "tone_hz": 15_000,
    "measured_hz": 15_020,
    "reference_cdb": -2000,
    "reference_after_cdb": -2010,
    "level_cdb": -3250,
    "noise_cdb": -6000,
    "snr_cdb": 2750,
    "below_reference_cdb": 1250,
    "listened_ms": 4000,
    "limits_revision": 1,
    "battery_mv": 4800,
    "blocks_lost": 0,
    "collections": 0,
    "calibration_revision": 1,
}
HISS_VALUES = {
    "round_id": 0,
    "vehicle": 3,
    "section": 1,
    "verdict": 2,
    "reasons": 0,
    "band_low_hz": 39_552,
    "band_high_hz": 59_084,
    "background_cdb": -4700,
    "level_cdb": -3500,
    "above_background_cdb": 1200,
    "tone_hz": 0,
    "tone_cdb": NONE,
    "listened_ms": 3000,
    "limits_revision": 1,
    "battery_mv": 4800,
    "blocks_lost": 0,
    "collections": 0,
    "calibration_revision": 1,
}
WAITING = {
    "verdict": 0,
    "reasons": names.mask_of(names.REASONS, ["no_reference"]),
    "reference_after_cdb": NONE,
}


class Log:
    """Records with their sequence numbers."""

    def __init__(self) -> None:
        self.made: list[bytes] = []

    def add(self, kind: int, base: dict[str, Any], **values: Any) -> None:
        seq = len(self.made) + 1
        header = {"seq": seq, "boot": 1, "ticks_ms": 1000 * seq}
        self.made.append(codec.encode_record(kind, header, {**base, **values}))


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(str(tmp_path / "history.db"), making=True)


def sections(store: Store, log: Log) -> list[Section]:
    store.ingest(PROBE, log.made)
    with store.read() as connection:
        return leaks.sections_between(connection, -(2**60), 2**60)


def test_a_settled_section_takes_the_place_of_the_waiting_one(store: Store) -> None:
    log = Log()
    log.add(records.SEAL, SEAL_VALUES, **WAITING)
    log.add(records.SEAL, SEAL_VALUES, section=2, **WAITING)
    log.add(records.SEAL, SEAL_VALUES)
    log.add(records.SEAL, SEAL_VALUES, section=2, verdict=1, below_reference_cdb=3000)
    found = sections(store, log)
    assert [(s.number, s.verdict, s.compared_db) for s in found] == [(1, "leak", 12.5), (2, "tight", 30.0)]


def test_a_section_that_was_never_settled_stays_without_a_verdict(store: Store) -> None:
    log = Log()
    log.add(records.SEAL, SEAL_VALUES, **WAITING)
    (found,) = sections(store, log)
    assert (found.verdict, found.reasons) == ("retry", ("no_reference",))


def test_the_same_section_checked_again_is_another_row(store: Store) -> None:
    log = Log()
    for verdict in (2, 1):
        log.add(records.SEAL, SEAL_VALUES, **WAITING)
        log.add(records.SEAL, SEAL_VALUES, verdict=verdict)
    assert [s.verdict for s in sections(store, log)] == ["leak", "tight"]


def test_hiss_sections_keep_band_and_tone(store: Store) -> None:
    log = Log()
    log.add(records.HISS, HISS_VALUES)
    log.add(records.HISS, HISS_VALUES, section=2, verdict=3, tone_hz=33_000, tone_cdb=-3000)
    log.add(
        records.HISS,
        HISS_VALUES,
        section=3,
        verdict=0,
        band_low_hz=0,
        band_high_hz=0,
        above_background_cdb=NONE,
    )
    first, second, third = sections(store, log)
    assert (first.verdict, first.compared_db, first.band_hz, first.tone_hz) == (
        "hiss",
        12.0,
        (39_552, 59_084),
        None,
    )
    assert (second.verdict, second.tone_hz) == ("tone", 33_000)
    assert (third.compared_db, third.band_hz) == (None, None)


def test_the_day_shows_them_with_a_map_and_the_flow_beside_a_hiss(store: Store) -> None:
    log = Log()
    log.add(records.SEAL, SEAL_VALUES)
    log.add(records.HISS, HISS_VALUES)
    found = sections(store, log)
    with store.read() as connection:
        day_ms = found[0].sort_ms
        shown = leaks_of_day(connection, day_ms)
    assert [row["verdict"] for row in shown.rows] == ["leak", "hiss"]
    assert [(vehicle, check) for vehicle, check, _ in shown.maps] == [
        ("not assigned", "hiss"),
        ("not assigned", "seal"),
    ]
    assert len(shown.flow) == len(leaks.HOLES_MM) and "no flow" in shown.caution
    assert shown.rows[0]["compared"] == "12.5 dB below the free reference"


def test_without_a_hiss_there_is_no_flow_table() -> None:
    seal = Section("seal", None, 1, "tight", (), -50.0, 30.0, 15_000, None, None, 0)
    assert leak_views([seal], {}).flow == ()


@pytest.mark.parametrize(
    ("check", "compared_db", "height"),
    [("hiss", 12.0, 12.0), ("hiss", 50.0, 36.0), ("hiss", -1.0, 0.0), ("hiss", None, 0.0)]
    + [("seal", 12.0, 24.0), ("seal", 0.0, 36.0), ("seal", 40.0, 0.0), ("seal", None, 0.0)],
)
def test_heights_of_the_map(check: str, compared_db: float | None, height: float) -> None:
    section = Section(check, 1, 1, "retry", (), None, compared_db, None, None, None, 0)
    assert height_db(section) == height


def test_the_map_says_in_words_what_it_draws() -> None:
    made = [
        Section("hiss", 1, n, verdict, (), None, 3.0, None, None, None, 0)
        for n, verdict in ((1, "hiss"), (2, "tone"))
    ]
    drawn = section_map(made)
    assert 'aria-label="section 1 hiss, section 2 tone"' in drawn
    assert ">H</text>" in drawn and ">~</text>" in drawn and drawn.count("<rect") == 4


def test_flow_grows_along_rows_and_columns() -> None:
    rows = [row.litres_per_min for row in leaks.flow_reference()]
    assert all(list(row) == sorted(row) for row in rows)
    assert all(lower < upper for lower, upper in zip(rows[0], rows[-1], strict=True))
