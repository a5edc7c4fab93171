"""The fleet of the fleet's tests: two vehicles, each with findings of its own and read by a probe of its own.

The second vehicle's days were entered first although most of them come later, and its notes stand out of the order of
time: a filter on the vehicle that is missing, or an order that is only that of entry, shows.
"""

from typing import Any

from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.vehicles import Bumper
from curbtick.fleet.work import findings as worklist
from curbtick.fleet.work import swap
from curbtick.store.history import Store
from curbtick_wire import names, records

from tests.unit.bench.benchdata import DAY_MS, NOON_MS, PROBE, Logbook, add_round, add_vehicle, record

LOW = {"verdict": names.WEAK, "reasons": names.mask_of(names.REASONS, ["low_level"]), "level_cdb": -2500}
SILENT = {
    "verdict": names.RETRY,
    "reasons": names.mask_of(names.REASONS, ["nothing_heard"]),
    "level_cdb": records.NONE_I16,
    "frequency_hz": 0,
}
SECOND_PROBE = "e660c0d1c7302aff"
# Its name sorts before that of the first vehicle, which was entered before it.
SECOND_NAME = "Bus"
SECOND_ROUND = 90
LATER_MS = NOON_MS + 1000 * DAY_MS


class SecondVehicle:
    """A bus, weak at rear 1, 2 and 3: its finding at rear 2 has steps, two swaps stand and one does not."""

    def __init__(self, store: Store) -> None:
        self.key = add_vehicle(store, SECOND_NAME, from_ms=NOON_MS - 5 * DAY_MS)
        add_round(store, SECOND_ROUND, [self.key])
        self.book = Logbook(store, SECOND_PROBE)
        self.read(store, NOON_MS - 3 * DAY_MS, 1, 2)
        self.read(store, LATER_MS, 2, 3)
        with store.write() as connection:
            worklist.refresh(connection)
            bus = vehicles.load(connection, [self.key])[0]
            (finding,) = (f for f in worklist.load(connection, vehicle_id=self.key) if f.position == 2)
            worklist.note(connection, finding.id, "clean", LATER_MS + 3 * DAY_MS)
            worklist.note(connection, finding.id, "inspect", LATER_MS + DAY_MS)
            self.swaps = [
                swap.record(connection, bus, names.REAR, 2, 3, LATER_MS + 5 * DAY_MS),
                swap.record(connection, bus, names.REAR, 1, 2, LATER_MS + 2 * DAY_MS),
            ]
            undone = swap.record(connection, bus, names.REAR, 1, 3, LATER_MS + 4 * DAY_MS)
            swap.undo(connection, undone, LATER_MS + 6 * DAY_MS)
            vehicles.fit_bumper(connection, self.key, names.FRONT, Bumper(2, 58), LATER_MS + 8 * DAY_MS)
            vehicles.fit_bumper(connection, self.key, names.FRONT, Bumper(6, 48), NOON_MS - 9 * DAY_MS)
            vehicles.fit_bumper(connection, self.key, names.FRONT, Bumper(6, 40), LATER_MS + 7 * DAY_MS)

    def read(self, store: Store, at_ms: int, *positions: int) -> None:
        """Readings of rear positions, each WEAK."""
        self.book.visit(at_ms, *({"round_id": SECOND_ROUND, "position": p, **LOW} for p in positions))


class Yard:
    """A van in round 1, its readings and its work list; the second vehicle stands beside it."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.van = add_vehicle(store, "Van 1")
        add_round(store, 1, [self.van])
        self.bus = SecondVehicle(store)
        self.book = Logbook(store)
        self.seqs: list[int] = []

    def read(self, at_ms: int, *values: dict[str, Any]) -> list[int]:
        self.seqs = self.book.visit(at_ms, *({"round_id": 1, **fields} for fields in values))
        with self.store.write() as connection:
            worklist.refresh(connection)
        return self.seqs

    def result(
        self, result: int, verdicts: list[int], reasons: list[int], seqs: list[int], **more: int
    ) -> None:
        fields = {
            "round_id": 1,
            "vehicle": 1,
            "bumper": names.REAR,
            "positions": 4,
            "class_khz": 48,
            "result": result,
            "verdicts": [*verdicts, 0, 0],
            "reasons": [*reasons, 0, 0],
            "reading_seqs": [*seqs, 0, 0],
            **more,
        }
        self.book.seq += 1
        self.store.ingest(PROBE, [record(records.BUMPER, self.book.seq, fields, self.book.boot, 9000)])
        with self.store.write() as connection:
            worklist.refresh(connection)

    def findings(self, *states: str) -> list[worklist.Finding]:
        """The van's."""
        wanted = states or (worklist.OPEN, worklist.DONE, worklist.PROVED)
        with self.store.read() as connection:
            return worklist.load(connection, wanted, self.van)

    def state(self) -> state.VehicleState:
        with self.store.read() as connection:
            return state.of_vehicles(connection, vehicles.load(connection, [self.van]))[0]
