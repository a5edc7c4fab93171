"""Histories that were noted apart and merged in any order show what a model of plain lists says."""

import itertools
import os
import random
from pathlib import Path
from typing import Any

import pytest
from curbtick.store import tables
from curbtick.store.history import Store, whole, write
from curbtick.store.journal.entries import Entry, from_row
from curbtick.store.sync import union
from sqlalchemy import Connection, select

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, anchored, reading
from tests.unit.bench.store import facts_model

READINGS, BENCHES, PROBES = range(2, 8), ("bench a", "bench b"), (PROBE, "e660c0d1c7302a12")
WORLDS = range(int(os.environ.get("CURBTICK_WORLDS", "6")))


class World:
    """Some benches that note at random, each with a clock of its own, and sync now and then."""

    def __init__(self, seed: int, stores: list[Store]) -> None:
        self.rng = random.Random(seed)
        self.stores = stores
        self.clocks = [NOON_MS + self.rng.randint(-5 * DAY_MS, 5 * DAY_MS) for _ in stores]
        batch = [anchored(1, NOON_MS // 1000), *(reading(seq) for seq in READINGS)]
        for probe, store in zip(itertools.cycle(PROBES), stores, strict=False):
            store.ingest(probe, batch, received_ms=NOON_MS, bench=self.rng.choice(BENCHES))

    def play(self, turns: int) -> None:
        for _ in range(turns):
            if self.rng.random() < 0.15:
                union.sync(*self.rng.sample(self.stores, 2))
            else:
                self.note(self.rng.randrange(len(self.stores)))

    def note(self, bench: int) -> None:
        """An entry of any kind, about what this bench knows."""
        self.clocks[bench] += self.rng.choice((0, 1, 60_000))
        with self.stores[bench].write() as connection:
            kind = self.rng.choice(sorted(MAKERS))
            known = entries_of(connection)
            said = MAKERS[kind](self.rng, known)
            if said is not None:
                write.note(connection, kind, said, self.clocks[bench])


def entries_of(connection: Connection) -> list[Entry]:
    return [
        from_row(row) for row in connection.execute(select(tables.entries).order_by(tables.entries.c.digest))
    ]


def _vehicle(rng: random.Random, known: list[Entry]) -> str | None:
    found = [one.ref for one in known if one.kind == "vehicle_entered"]
    return rng.choice(found) if found else None


def _fit(rng: random.Random) -> list[int]:
    return [rng.randint(1, 6), rng.choice((40, 48))]


def _entered(rng: random.Random, _known: list[Entry]) -> dict[str, Any]:
    more = {"type": None, "depot": None, "is_reference": False}
    return {"name": f"V{rng.randrange(1000)}", **more, "rear": _fit(rng), "front": _fit(rng)}


def _renamed(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    return vehicle and {"vehicle": vehicle, "name": f"V{rng.randrange(1000)}"}


def _refitted(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    return vehicle and {"vehicle": vehicle, "bumper": rng.randrange(2), "fit": _fit(rng)}


def _retired(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    return vehicle and {"vehicle": vehicle} if rng.random() < 0.4 else None


def _same(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle, other = _vehicle(rng, known), _vehicle(rng, known)
    return {"vehicle": vehicle, "other": other} if vehicle != other and rng.random() < 0.4 else None


def _round(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    rows = [[vehicle, [4, 48], [4, 48]]]
    return vehicle and {"number": rng.randint(1, 3), "name": None, "technician": None, "vehicles": rows}


def _limits(rng: random.Random, _known: list[Entry]) -> dict[str, Any]:
    return {"revision": rng.randint(1, 3), "origin": None, "payload": rng.randbytes(4).hex()}


def _assigned(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    if vehicle is None:
        return None
    rows = [
        [[rng.choice(PROBES), 0, seq], vehicle, rng.randrange(2), rng.randint(1, 3)]
        for seq in rng.sample(READINGS, 2)
    ]
    return {"readings": rows, "why": None}


def _swapped(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    vehicle = _vehicle(rng, known)
    pair = sorted(rng.sample(range(1, 5), 2))
    return vehicle and {"vehicle": vehicle, "bumper": rng.randrange(2), "positions": pair}


def _described(rng: random.Random, _known: list[Entry]) -> dict[str, Any]:
    name, depot = f"P{rng.randrange(100)}", f"D{rng.randrange(100)}"
    some = rng.choice(((name, None), (None, depot), (name, depot)))
    return {"probe": rng.choice(PROBES), "name": some[0], "depot": some[1]}


def _placed(rng: random.Random, _known: list[Entry]) -> dict[str, Any]:
    return {"bench": rng.choice(BENCHES), "depot": f"D{rng.randrange(100)}"}


def _undone(rng: random.Random, known: list[Entry]) -> dict[str, Any] | None:
    """An undo of anything but of a vehicle that others name, of a pull or of an undo."""
    found = [one.ref for one in known if one.kind not in ("vehicle_entered", "pulled", "undone")]
    return {"entry": rng.choice(found)} if found else None


MAKERS: dict[str, Any] = {
    "vehicle_entered": _entered,
    "vehicle_renamed": _renamed,
    "vehicle_refitted": _refitted,
    "vehicle_retired": _retired,
    "same_as": _same,
    "round_made": _round,
    "limits_made": _limits,
    "readings_assigned": _assigned,
    "swapped": _swapped,
    "probe_described": _described,
    "bench_placed": _placed,
    "undone": _undone,
}


def shown(connection: Connection) -> facts_model.Facts:
    """What the cache shows, in the model's form."""
    entered = {one.key: one.ref for one in entries_of(connection) if one.kind == "vehicle_entered"}
    members: dict[int, frozenset[str]] = {}
    for row in connection.execute(select(tables.aliases)):
        members[row.vehicle_id] = members.get(row.vehicle_id, frozenset()) | {entered[row.entered_id]}
    vehicles = connection.execute(select(tables.vehicles)).all()
    return facts_model.Facts(
        {members[row.id]: row.retired_ms is not None for row in vehicles},
        {
            ref: (row.name, *_fits(connection, row.id))
            for row in vehicles
            if len(members[row.id]) == 1
            for ref in members[row.id]
        },
        _places(connection, members),
        {
            (members[row.vehicle_id], row.bumper, frozenset((row.position_a, row.position_b)))
            for row in connection.execute(select(tables.swaps).where(tables.swaps.c.is_undone.is_(False)))
        },
        {row.name: row.depot for row in connection.execute(select(tables.benches)) if row.depot},
        _probes(connection),
        {row.revision: bytes(row.payload).hex() for row in connection.execute(select(tables.limit_sets))},
        _rounds(connection, members),
    )


def _fits(connection: Connection, vehicle_id: int) -> tuple[tuple[int, int], tuple[int, int]]:
    columns = tables.bumpers.c
    query = select(tables.bumpers).where(columns.vehicle_id == vehicle_id).order_by(columns.place)
    last = {row.bumper: (row.positions, row.class_khz) for row in connection.execute(query)}
    return last[0], last[1]


def _places(connection: Connection, members: dict[int, frozenset[str]]) -> dict[Any, Any]:
    query = select(tables.readings, tables.probes.c.unique_id, tables.probes.c.log_id)
    query = query.join(tables.probes, tables.probes.c.id == tables.readings.c.probe_id)
    return {
        (row.unique_id, row.log_id, row.seq): (members[row.vehicle_id], row.at_bumper, row.at_position)
        for row in connection.execute(query)
        if row.vehicle_id is not None
    }


def _probes(connection: Connection) -> dict[str, tuple[str | None, str | None]]:
    """A probe that nobody named goes by the end of its unique id."""
    rows = connection.execute(select(tables.probes)).all()
    said = {
        row.unique_id: (None if row.unique_id.endswith(row.name) else row.name, row.depot) for row in rows
    }
    return {probe: one for probe, one in said.items() if one != (None, None)}


def _rounds(
    connection: Connection, members: dict[int, frozenset[str]]
) -> dict[int, tuple[frozenset[str], ...]]:
    numbers = connection.execute(select(tables.rounds.c.number)).scalars()
    made: dict[int, tuple[frozenset[str], ...]] = dict.fromkeys(numbers, ())
    columns = tables.round_vehicles.c
    query = select(tables.rounds.c.number, columns.vehicle_id).join(
        tables.rounds, tables.rounds.c.id == columns.round_id
    )
    for number, vehicle_id in connection.execute(query.order_by(columns.place)):
        made[number] += (members[vehicle_id],)
    return made


def due(connection: Connection) -> facts_model.Facts:
    """What the model says of a history's entries."""
    return facts_model.facts(
        (one.origin, one.number, one.ref, one.at_ms, one.kind, one.seen, one.payload)
        for one in entries_of(connection)
    )


def differences(store: Store) -> list[str]:
    with store.read() as connection:
        found, expected = shown(connection), due(connection)
    return [
        words
        for name, ours, theirs in zip(found._fields, found, expected, strict=True)
        for words in _unlike(name, ours, theirs)
    ]


def _unlike(name: str, ours: Any, theirs: Any) -> list[str]:
    if isinstance(ours, set):
        return [f"{name}: {one}" for one in ours ^ theirs]
    keys = sorted({*ours, *theirs}, key=repr)
    return [
        f"{name} of {key}: {ours.get(key)} for {theirs.get(key)}"
        for key in keys
        if ours.get(key) != theirs.get(key)
    ]


@pytest.mark.parametrize("seed", WORLDS)
def test_what_was_noted_apart_means_the_same_in_whatever_order_it_is_merged(
    seed: int, tmp_path: Path
) -> None:
    stores = [Store(tmp_path / f"{name}.db") for name in "abc"]
    world = World(seed, stores)
    world.play(50)
    for one, other in (*itertools.combinations(stores, 2), *itertools.combinations(stores, 2)):
        union.sync(one, other)
    wrong = [words for store in stores for words in differences(store)]
    assert not wrong, f"seed {seed}: {wrong[:9]}"
    assert not whole.check(stores[0])
