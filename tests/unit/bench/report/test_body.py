"""What the seal and hiss checks say of a vehicle's body: it stays in sight until a later check is clean, and it
changes no sensor's verdict.
"""

import json
import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import pytest
from curbtick import dates
from curbtick.commands import main
from curbtick.fleet import leaks, vehicles
from curbtick.fleet.leaks import Body
from curbtick.fleet.places import state
from curbtick.fleet.rounds import note_sent
from curbtick.fleet.work import findings
from curbtick.report import build
from curbtick.store.history import Store, ensure_probe
from curbtick_wire import names, records
from typer.testing import CliRunner

from tests.unit.bench.benchdata import DAY_MS, PROBE, add_round, add_vehicle, anchored, reading, record

NOW_MS = int(datetime(2026, 11, 24, 15, 0).astimezone().timestamp() * 1000)
OTHER = "e660c0d1c7302a12"
SEAL, HISS = records.SEAL, records.HISS
VERDICTS = {SEAL: names.SEAL_VERDICTS, HISS: names.HISS_VERDICTS}
WAITING = names.mask_of(names.REASONS, ["no_reference"])


class Yard:
    """Two vehicles in a round, and probes that check them."""

    def __init__(self, folder: Path) -> None:
        self.store = Store(folder / "h.db")
        self.vans = [add_vehicle(self.store, name) for name in ("Van 1", "Van 2")]
        add_round(self.store, 1, self.vans)
        with self.store.write() as connection:
            for probe in (PROBE, OTHER):
                note_sent(connection, ensure_probe(connection, probe, 0), "round", 1, 0)
        self.seq = dict.fromkeys((PROBE, OTHER), 0)
        self.boot = dict(self.seq)

    def visit(
        self,
        days_ago: int,
        *checks: tuple[int, int, Sequence[str]],
        probe: str = PROBE,
        anchor: bool = True,
        read: bool = False,
    ) -> None:
        """checks: (kind, vehicle's number in the round, verdicts of sections 1, 2, ...); read: both bumpers pass."""
        self.boot[probe] += 1
        at_ms = NOW_MS - days_ago * DAY_MS
        batch = [anchored(self._next(probe), at_ms // 1000, self.boot[probe], 0)] if anchor else []
        places = [(bumper, position) for bumper in (0, 1) for position in range(1, 5)] if read else []
        batch += [
            reading(
                self._next(probe),
                self.boot[probe],
                500,
                round_id=1,
                vehicle=1,
                bumper=bumper,
                position=position,
            )
            for bumper, position in places
        ]
        for kind, vehicle, verdicts in checks:
            batch += self._check(probe, kind, vehicle, verdicts)
        self.store.ingest(probe, batch, received_ms=at_ms + 3_600_000)

    def _check(self, probe: str, kind: int, vehicle: int, verdicts: Sequence[str]) -> list[bytes]:
        """A check's records: the seal's sections are logged when marked, and when the reference is confirmed."""
        made = []
        for settled in (False, True) if kind == SEAL else (True,):
            for section, verdict in enumerate(verdicts, 1):
                values = {"round_id": 1, "vehicle": vehicle, "section": section}
                known = {"verdict": VERDICTS[kind].index(verdict), "reference_after_cdb": -2000}
                open_still = {"verdict": 0, "reasons": WAITING, "reference_after_cdb": records.NONE_I16}
                seal = {"reference_cdb": -2000} if kind == SEAL else {}
                more = known if settled else open_still
                seq = self._next(probe)
                made.append(record(kind, seq, {**values, **seal, **more}, self.boot[probe], 1000 + 10 * seq))
        return made

    def _next(self, probe: str) -> int:
        self.seq[probe] += 1
        return self.seq[probe]

    def body(self, vehicle: int = 1) -> Body:
        with self.store.read() as connection:
            return leaks.of_vehicles(connection).get(self.vans[vehicle - 1], leaks.NO_BODY)

    def pages(self, out: Path) -> dict[str, str]:
        with self.store.write() as connection:
            findings.refresh(connection)
        build(self.store, out, dates.day_start_ms("2026-11-24"), NOW_MS + 3_600_000)
        return {path.name: words(path.read_text(encoding="utf-8")) for path in out.glob("*.html")}


def words(page: str) -> str:
    """A page without its tags and styles."""
    return re.sub(r"\s+", " ", re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL))


@pytest.fixture
def yard(tmp_path: Path) -> Iterator[Yard]:
    made = Yard(tmp_path)
    yield made
    made.store.close()


def day(days_ago: int) -> str:
    return dates.date(NOW_MS - days_ago * DAY_MS)


def test_a_leak_is_told_by_section_and_date_until_a_later_check_is_tight(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["tight", "leak", "tight"]))
    assert yard.body().pointers == [f"seal: leak in section 2, {day(9)}"]
    assert yard.body().marks == ["seal leak"]
    yard.visit(3, (SEAL, 1, ["tight", "tight"]))
    assert yard.body().pointers == yard.body().marks == []
    assert [[s.verdict for s in check.sections] for check in yard.body().shown] == [["tight", "tight"]]
    yard.visit(1, (SEAL, 1, ["leak", "leak"]))
    assert yard.body().pointers == [f"seal: leak in sections 1 and 2, {day(1)}"]


def test_each_kind_and_each_vehicle_stands_for_itself(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]), (HISS, 1, ["hiss", "tone"]), (HISS, 2, ["quiet"]))
    yard.visit(3, (HISS, 1, ["quiet", "quiet"]), (SEAL, 2, ["tight"]))
    assert yard.body().pointers == [f"seal: leak in section 1, {day(9)}"]
    yard.visit(2, (HISS, 2, ["quiet", "tone", "hiss"]))
    assert yard.body(2).pointers == [f"hiss: hiss in section 3, tone in section 2, {day(2)}"]
    assert yard.body(2).marks == ["hiss tone", "hiss"]


def test_a_check_broken_off_before_the_place_takes_nothing_back(yard: Yard) -> None:
    yard.visit(
        9, (SEAL, 1, ["tight", "leak", "tight", "tight", "leak", "tight"]), (HISS, 1, ["quiet", "tone"])
    )
    yard.visit(3, (SEAL, 1, ["tight"] * 4), (HISS, 1, ["quiet"]))
    assert yard.body().marks == ["seal leak", "hiss tone"]
    assert len(yard.body().shown) == 4, "those that stand and the newest"
    yard.visit(2, (SEAL, 1, ["tight"] * 5), (HISS, 1, ["quiet"] * 2))
    assert yard.body().pointers == []


@pytest.mark.parametrize("later", [["retry"], ["quiet", "retry"]])
def test_a_section_without_a_verdict_takes_nothing_back(yard: Yard, later: list[str]) -> None:
    yard.visit(9, (HISS, 1, ["quiet", "hiss"]))
    yard.visit(3, (HISS, 1, later))
    assert yard.body().pointers == [f"hiss: hiss in section 2, {day(9)}"]
    assert len(yard.body().shown) == 2, "the one that stands and the newest"


def test_a_seal_check_never_confirmed_takes_nothing_back(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]))
    yard.boot[PROBE] += 1
    waits = {"round_id": 1, "vehicle": 1, "section": 1, "reasons": WAITING, "reference_cdb": -2000}
    seq = yard._next(PROBE)
    yard.store.ingest(PROBE, [record(SEAL, seq, {**waits, "reference_after_cdb": records.NONE_I16}, 2)])
    assert yard.body().pointers == [f"seal: leak in section 1, {day(9)}"]


def test_two_checks_of_one_start_are_told_apart(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak", "tight"]), (SEAL, 2, ["tight"]), (SEAL, 1, ["tight", "tight"]))
    assert yard.body().pointers == []
    yard.visit(3, (HISS, 1, ["quiet", "quiet"]), (HISS, 1, ["quiet", "hiss"]))
    assert yard.body().pointers == [f"hiss: hiss in section 2, {day(3)}"]


def test_a_clean_check_of_unknown_date_takes_back_only_what_is_surely_older(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]))
    yard.visit(3, (SEAL, 1, ["tight"]), probe=OTHER, anchor=False)
    assert yard.body().pointers == [f"seal: leak in section 1, {day(9)}"]
    yard.visit(2, (SEAL, 1, ["tight"]), anchor=False)
    assert yard.body().pointers == [], "one probe's own numbers tell"


def test_a_leak_of_unknown_date_is_told_as_such(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]), anchor=False)
    assert yard.body().pointers == ["seal: leak in section 1, time unknown"]


def test_the_pages_name_a_leak_of_an_earlier_day_and_no_sensor_suffers(yard: Yard, tmp_path: Path) -> None:
    yard.visit(9, (SEAL, 1, ["tight", "leak"]), (HISS, 1, ["quiet"]))
    yard.visit(0, read=True)
    pages = yard.pages(tmp_path / "out")
    told = f"seal: leak in section 2, {day(9)}"
    vehicle = pages["vehicle-1.html"]
    assert told in vehicle and "No sensor is known to be wrong" in vehicle
    assert "Nothing is wrong" not in vehicle
    rows = ("seal 1 tight", "seal 2 leak", "hiss 1 quiet")
    for shown in (f"Seal check, {day(9)}", f"Hiss check, {day(9)}", *rows):
        assert shown in vehicle, shown
    assert told in pages["work.html"] and "1 seal or hiss check that found something" in pages["work.html"]
    assert "0 open" in pages["work.html"] and "Nothing to do" not in pages["work.html"]
    assert "PASS seal leak" in pages["fleet.html"]
    assert told in pages["day.html"] and "Nothing: every position" not in pages["day.html"]
    with yard.store.read() as connection:
        (standing,) = state.of_vehicles(connection, vehicles.load(connection, yard.vans[:1]))
        assert standing.worst == "pass" and findings.load(connection) == []


def test_a_clean_check_leaves_the_pages_calm(yard: Yard, tmp_path: Path) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]))
    yard.visit(0, (SEAL, 1, ["tight"]), read=True)
    pages = yard.pages(tmp_path / "out")
    assert "Nothing is wrong that is known of" in pages["vehicle-1.html"]
    assert f"Seal check, {day(0)}" in pages["vehicle-1.html"] and "leak" not in pages["fleet.html"]
    assert "Nothing to do" in pages["work.html"] and "Nothing: every position" in pages["day.html"]
    assert "None was made yet" in pages["vehicle-2.html"]


def test_a_retired_vehicle_leaves_the_work_list(yard: Yard, tmp_path: Path) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]))
    with yard.store.write() as connection:
        vehicles.retire(connection, yard.vans[0], NOW_MS)
    assert "leak in section" not in yard.pages(tmp_path / "out")["work.html"]


def test_the_work_command_points_to_a_leak_too(yard: Yard) -> None:
    yard.visit(9, (SEAL, 1, ["leak"]), read=True)
    words_ = ["work", "--db", str(yard.store.url).removeprefix("sqlite:///")]
    told = CliRunner().invoke(main.app, words_)
    assert (
        f"Van 1, body: seal: leak in section 1, {day(9)}" in told.output
        and "Nothing to do" not in told.output
    )
    (one,) = json.loads(CliRunner().invoke(main.app, [*words_, "--json"]).stdout)["body"]
    assert (one["vehicle"], one["words"]) == ("Van 1", f"seal: leak in section 1, {day(9)}")
