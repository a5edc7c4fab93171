"""What the report's pages say of a reading, a probe and a table, on a wide screen and on a phone."""

import re
import struct
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import pytest
from curbtick import dates
from curbtick.report import build
from curbtick.store.history import Store
from curbtick_wire import names, records

from tests.unit.bench.benchdata import PROBE, Logbook, add_round, add_vehicle, anchored, reading, record
from tests.unit.bench.report.reportdata import Depot

NOW_MS = int(datetime(2026, 11, 24, 15, 0).astimezone().timestamp() * 1000)
DAY = "2026-11-24"
HELD, SIBLING = names.SOUND_KINDS.index("held"), names.SOUND_KINDS.index("sibling")


def built(store: Store, out: Path) -> dict[str, str]:
    """Every page's text, by file name."""
    build(store, out, dates.day_start_ms(DAY), NOW_MS)
    return {path.name: path.read_text(encoding="utf-8") for path in out.glob("*.html")}


def words(page: str) -> str:
    """A page without its tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = tmp_path_factory.mktemp("report")
    depot = Depot(folder, NOW_MS)
    made = built(depot.store, folder / "out")
    depot.store.close()
    return made


def test_on_a_phone_a_cell_says_what_its_columns_head_says_unit_included(pages: dict[str, str]) -> None:
    seen: set[str] = set()
    for name, page in pages.items():
        for table in re.findall(r'<table[^>]*class="stack".*?</table>', page, re.DOTALL):
            heads = re.findall(r"<th scope=\"col\"[^>]*>(.*?)</th>", table)
            for row in table.split("<tbody>")[1].split("<tr")[1:]:
                assert re.findall(r'<t[dh] data-t="(.*?)"', row) == heads, name
            seen.update(heads)
    assert {"Level, dBFS", "Frequency, kHz", "Interval, ms", "Level now, dBFS", "Compared"} <= seen


def test_what_scrolls_sideways_holds_no_sentence(pages: dict[str, str]) -> None:
    """A caption is as wide as its table: a long one is cut off on a phone, where the table scrolls."""
    assert "Noise at most" in pages["limits.html"]
    scrolled = re.findall(r'<div class="scroll".*?</div>', pages["limits.html"], re.DOTALL)
    assert scrolled and not any("Noise at most" in one for one in scrolled)


def test_grey_readings_were_taken_again_on_the_spot(pages: dict[str, str]) -> None:
    assert "grey ones were taken again on the spot" in pages["day.html"]


NEIGHBOURS = {
    "verdict": names.DEAD,
    "reasons": names.mask_of(names.REASONS, ["only_neighbour"]),
    "level_cdb": -4591,
    "frequency_hz": 40003,
    "interval_us": 79999,
    "burst_count": 10,
    "due_count": 16,
}


def sounds(reading_seq: int, seq: int, kinds: Sequence[int]) -> bytes:
    tail = b"".join(
        struct.pack("<HhHHB", 600 + 1600 * n, -4591, 20_001, 45, kind) for n, kind in enumerate(kinds)
    )
    values = {"reading_seq": reading_seq, "first": 0, "count": len(kinds)}
    return record(records.SOUNDS, seq, values, 1, 9000, tail)


@pytest.fixture(scope="module")
def neighbour(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """A position where only a neighbour was heard, beside one that passes."""
    folder = tmp_path_factory.mktemp("neighbour")
    with Store(folder / "h.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        book = Logbook(store)
        for at_ms in (NOW_MS - 10_800_000, NOW_MS - 7_200_000):
            book.visit(at_ms, {"round_id": 1}, {"round_id": 1, "position": 2, **NEIGHBOURS})
        store.ingest(PROBE, [sounds(3, book.seq + 1, [HELD, SIBLING])], received_ms=NOW_MS)
        return built(store, folder / "out")


def test_a_neighbours_sound_is_not_told_as_this_sensors(neighbour: dict[str, str]) -> None:
    page = next(text for name, text in neighbour.items() if re.fullmatch(r"reading-.*-3\.html", name))
    text = words(page)
    assert "Nothing was heard of this sensor, although its system transmits" in text
    for measured in ("level -45.91 dBFS", "frequency 40.003 kHz", "interval 80.00 ms"):
        assert re.search(rf"Neighbour(&#39;|')s {measured}", text), measured
    assert re.search(r"Neighbour(&#39;|')s bursts heard of those due 10 of 16", text)
    whose = re.findall(r"<td>(held|sibling|neighbour)</td>", page)
    assert whose == ["neighbour", "sibling"]


def test_a_neighbours_level_stands_in_no_column_of_this_sensor(neighbour: dict[str, str]) -> None:
    for name in ("day.html", "vehicle-1.html"):
        page = neighbour[name]
        dead = next(row for row in page.split("<tr") if "only a neighbour was heard (" in row)
        assert '<td data-t="Level, dBFS" class="num"></td>' in dead, name
        assert '<td data-t="Frequency, kHz" class="num"></td>' in dead
        assert "only a neighbour was heard (-45.9 dBFS)" in dead
        assert '<text class="n" x="210" y="106">2: </text>' in page, "nor below its place on the bumper"


def test_a_sensor_that_was_heard_keeps_its_numbers(neighbour: dict[str, str]) -> None:
    assert '<td data-t="Level, dBFS" class="num">-8.0</td>' in neighbour["vehicle-1.html"]


def starts_words(tmp_path: Path, *batch: bytes) -> str:
    """What the probes' page says of starts without a clock."""
    with Store(tmp_path / "h.db") as store:
        store.ingest(PROBE, batch, received_ms=NOW_MS)
        text = words(built(store, tmp_path / "out")["probes.html"])
    found = re.search(r"Starts that never met a bench (.*?) Battery", text)
    assert found is not None
    return found[1]


def dated(seq: int, boot: int) -> list[bytes]:
    return [anchored(seq, NOW_MS // 1000 - 3600, boot), reading(seq + 1, boot)]


def test_a_start_without_a_reading_leaves_none_undated(tmp_path: Path) -> None:
    tested = record(records.SELF_TEST, 1, {}, 1, 10)
    assert starts_words(tmp_path, tested, *dated(2, 2)) == "1; no reading was taken in it"


def test_readings_without_a_date_are_counted_by_probe(tmp_path: Path) -> None:
    undated = [reading(1, 1, 1000), reading(2, 1, 2000), reading(3, 2, 1000)]
    assert starts_words(tmp_path, *undated, *dated(4, 3)) == "2; 3 readings have an order but no date"


def test_where_every_start_met_a_bench_that_is_said(tmp_path: Path) -> None:
    assert starts_words(tmp_path, *dated(1, 1), *dated(3, 2)) == "none"
