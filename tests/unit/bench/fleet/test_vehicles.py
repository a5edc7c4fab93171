"""Vehicles and rounds: names, fittings, and everything a round's file may get wrong."""

from pathlib import Path

import pytest
from curbtick.errors import InputError
from curbtick.fleet import lines, readings, rounds, vehicles
from curbtick.fleet.places import state
from curbtick.fleet.vehicles import Bumper
from curbtick.store.history import Store
from curbtick_wire import codec, names, records

from tests.unit.bench.benchdata import NOON_MS, PROBE, Logbook, add_round, add_vehicle, record

HEADER = ",".join(lines.COLUMNS) + "\n"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "history.db")


def test_two_vehicles_with_one_name_are_told_apart_by_depot_or_number(store: Store) -> None:
    with store.write() as connection:
        first = vehicles.add(connection, "Van 1", Bumper(4, 48), Bumper(0, 0), 0, depot="North")
        second = vehicles.add(connection, "van 1", Bumper(4, 48), Bumper(0, 0), 0, depot="South")
        with pytest.raises(
            InputError, match=f"2 vehicles are called Van 1: #{first} in North, #{second} in South"
        ):
            vehicles.find(connection, "Van 1")
        assert vehicles.find(connection, "VAN 1", "South").id == second
        assert vehicles.find(connection, f"#{first}").id == first
        with pytest.raises(InputError, match="already is a vehicle Van 1 in North"):
            vehicles.add(connection, "Van 1", Bumper(4, 48), Bumper(0, 0), 0, depot="North")


def test_a_renamed_vehicle_is_found_by_both_names_and_keeps_its_history(store: Store) -> None:
    key = add_vehicle(store, "Van 1")
    add_round(store, 1, [key])
    Logbook(store).visit(NOON_MS, {"round_id": 1})
    with store.write() as connection:
        vehicles.rename(connection, key, "Shuttle", NOON_MS)
        assert (
            vehicles.find(connection, "van 1").name == vehicles.find(connection, "shuttle").name == "Shuttle"
        )
        assert len(readings.of_place(connection, key, names.REAR, 1)) == 1


def test_a_name_taken_over_after_a_renaming_means_the_vehicle_that_has_it_now(store: Store) -> None:
    old = add_vehicle(store, "Van 1")
    with store.write() as connection:
        vehicles.rename(connection, old, "Van 9", NOON_MS)
    new = add_vehicle(store, "Van 1")
    with store.read() as connection:
        assert vehicles.find(connection, "Van 1").id == new


def test_a_retired_vehicle_gives_way_to_one_in_service(store: Store) -> None:
    with store.write() as connection:
        old = vehicles.add(connection, "Van 1", Bumper(4, 48), Bumper(0, 0), 0)
        vehicles.retire(connection, old, NOON_MS)
        assert vehicles.find(connection, "Van 1").id == old
        new = vehicles.add(connection, "Van 1", Bumper(4, 48), Bumper(0, 0), 0)
        assert vehicles.find(connection, "Van 1").id == new


def test_a_retrofit_changes_the_class_from_its_day_on(store: Store) -> None:
    key = add_vehicle(store, "Van 1", positions=4, class_khz=40)
    with store.write() as connection:
        vehicles.fit_bumper(connection, key, names.REAR, Bumper(6, 58), NOON_MS)
        assert vehicles.find(connection, "Van 1").bumper(names.REAR) == Bumper(6, 58)
        assert vehicles.class_at(connection, key, names.REAR, NOON_MS - 1) == 40
        assert vehicles.class_at(connection, key, names.REAR, NOON_MS) == 58
        assert len(state.of_vehicles(connection, [vehicles.find(connection, "Van 1")])[0].places) == 10


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("Van 1,,,7,48,0,0", "no 7 positions"),
        ("Van 1,,,4,50,0,0", "no sensor class of 50"),
        ("Van 1,,,four,48,0,0", "rear_positions is 'four', not a whole number"),
        ("Van 1,,,4,48,0,4x", "front_class_khz is '4x', not a whole number"),
        (",,,4,48,0,0", "The name of a vehicle is empty"),
        ("Van 1,,,-1,48,0,0", "not a whole number"),
    ],
)
def test_a_line_that_makes_no_sense_is_named(tmp_path: Path, line: str, what: str) -> None:
    path = tmp_path / "round.csv"
    path.write_text(HEADER + "Van 0,,,4,48,4,48\n" + line + "\n")
    with pytest.raises(InputError, match=f"Line 3 .*{what}") as caught:
        lines.read(path)
    assert caught.value.next_step != "Correct the line."


def test_a_file_without_the_columns_or_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "round.csv"
    path.write_text("name,sensors\nVan 1,4\n")
    with pytest.raises(InputError, match="no column vehicle, rear_positions, rear_class_khz"):
        lines.read(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="Line 1 of .* is neither UTF-8 nor UTF-16 text"):
        lines.read(path)
    with pytest.raises(InputError, match="cannot be read"):
        lines.read(tmp_path / "none.csv")


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"], ids=["unix", "windows", "old mac"])
def test_a_file_from_a_spreadsheet_says_how_to_save_it(tmp_path: Path, ending: str) -> None:
    path = tmp_path / "round.csv"
    text = HEADER + "Van 1,,,4,48,0,0\n\nLkw M\xfcnchen,,,4,48,0,0\n"
    path.write_bytes(text.replace("\n", ending).encode("latin-1"))
    with pytest.raises(InputError, match="is neither UTF-8 nor UTF-16 text") as caught:
        lines.read(path)
    assert "CSV UTF-8" in caught.value.next_step
    path.write_bytes(text.replace("\n", ending).encode("utf-8-sig"))
    assert [line.name for line in lines.read(path)] == ["Van 1", "Lkw M\xfcnchen"]


def test_a_line_is_counted_as_an_editor_counts_it(tmp_path: Path) -> None:
    """Empty lines are lines, and a cell may hold an end of line."""
    path = tmp_path / "round.csv"
    path.write_text(HEADER.strip() + ',note\n\nVan 1,,,4,48,0,0,"a\nb"\n\nVan 2,,,x,48,0,0,\n')
    with pytest.raises(InputError, match="Line 6 "):
        lines.read(path)


def test_a_file_that_is_no_csv_is_said(tmp_path: Path) -> None:
    path = tmp_path / "round.csv"
    path.write_text(HEADER + '"' + "x" * 200_000 + '",,,4,48,0,0\n')
    with pytest.raises(InputError, match="is no CSV: field larger"):
        lines.read(path)


def test_a_round_goes_to_the_probe_as_the_file_has_it(store: Store, tmp_path: Path) -> None:
    path = tmp_path / "round.csv"
    path.write_text(HEADER + "Van 1,panel van,North,4,48,6,58\nBus 2,minibus,North,6,40,0,0\n")
    with store.write() as connection:
        made = rounds.make(connection, rounds.enter(connection, lines.read(path), NOON_MS), NOON_MS)
        again = rounds.load(connection)
    sent = codec.unpack_round(rounds.payload(again))
    assert sent["round_id"] == made.number == 1
    assert sent["vehicles"][0] == {
        "vehicle": 1,
        "rear_positions": 4,
        "rear_class_khz": 48,
        "front_positions": 6,
        "front_class_khz": 58,
    }
    assert sent["vehicles"][1]["front_positions"] == 0


def test_a_round_takes_no_number_that_a_probe_got_from_another_bench(store: Store) -> None:
    received = {"event": names.EVENTS.index("round_received"), "value": 41, "extra": 2}
    store.ingest(PROBE, [record(records.EVENT, 1, received)])
    key = add_vehicle(store, "Van 1")
    with store.write() as connection:
        made = [rounds.make(connection, vehicles.load(connection, [key]), NOON_MS) for _ in range(2)]
    assert [round_.number for round_ in made] == [42, 43]


def test_a_round_refuses_a_vehicle_twice_none_at_all_and_too_many(store: Store) -> None:
    key = add_vehicle(store, "Van 1")
    bare = add_vehicle(store, "Trailer", positions=0, class_khz=0)
    with store.write() as connection:
        van, trailer = vehicles.load_in_order(connection, [key, bare])
        with pytest.raises(InputError, match="Van 1 is in the round twice"):
            rounds.make(connection, [van, van], NOON_MS)
        with pytest.raises(InputError, match="Trailer has no sensors"):
            rounds.make(connection, [trailer], NOON_MS)
        with pytest.raises(InputError, match="1 to 60 vehicles, not 0"):
            rounds.make(connection, [], NOON_MS)
        with pytest.raises(InputError, match="no round 4"):
            rounds.load(connection, 4)


def _retired_van(store: Store) -> int:
    with store.write() as connection:
        key = vehicles.add(connection, "Van 1", Bumper(4, 48), Bumper(0, 0), 0)
        vehicles.retire(connection, key, NOON_MS)
    return key


def test_a_round_file_that_names_a_retired_vehicle_means_a_new_one(store: Store) -> None:
    old = _retired_van(store)
    line = lines.Line("Van 1", Bumper(6, 58), Bumper(0, 0))
    with store.write() as connection:
        first = rounds.enter(connection, [line], NOON_MS + 1)
        second = rounds.enter(connection, [line], NOON_MS + 2)
        assert first == second and first[0].id != old and first[0].retired_ms is None
        assert vehicles.load(connection, [old])[0].bumper(names.REAR) == Bumper(4, 48)
        assert [v.id for v in vehicles.retired_namesakes(connection, first[0])] == [old]


def test_a_round_file_does_not_mean_a_retired_vehicle_by_its_former_name(store: Store) -> None:
    old = _retired_van(store)
    with store.write() as connection:
        vehicles.rename(connection, old, "Old van", NOON_MS)
        entered = rounds.enter(connection, [lines.Line("Van 1", Bumper(4, 48), Bumper(0, 0))], NOON_MS)
    assert entered[0].id != old and entered[0].name == "Van 1"


def test_a_round_refuses_a_retired_vehicle(store: Store) -> None:
    _retired_van(store)
    with store.write() as connection:
        van = vehicles.find(connection, "Van 1")
        with pytest.raises(InputError, match=r"Van 1 \(#1\) is retired"):
            rounds.make(connection, [van], NOON_MS + 1)
        with pytest.raises(InputError, match="no round yet"):
            rounds.load(connection)


def test_a_retired_vehicle_is_in_use_again_only_when_it_was_read_afterwards(store: Store) -> None:
    before, after, _ = (add_vehicle(store, name) for name in ("Van 1", "Van 2", "Van 3"))
    add_round(store, 1, [before, after])
    book = Logbook(store)
    book.visit(NOON_MS, {"round_id": 1, "vehicle": 1}, {"round_id": 1, "vehicle": 2})
    with store.write() as connection:
        for key in (before, after):
            vehicles.retire(connection, key, NOON_MS + 60_000)
    book.visit(NOON_MS + 120_000, {"round_id": 1, "vehicle": 2})
    with store.read() as connection:
        assert [v.name for v in vehicles.in_use(connection)] == ["Van 2", "Van 3"]
