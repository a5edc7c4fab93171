"""A van in a round, its readings, and its work list."""

from typing import Any

from curbtick.fleet import vehicles
from curbtick.fleet.places import state
from curbtick.fleet.work import findings as worklist
from curbtick.store.history import Store
from curbtick_wire import names, records

from tests.unit.bench.benchdata import PROBE, Logbook, add_round, add_vehicle, record

LOW = {"verdict": names.WEAK, "reasons": names.mask_of(names.REASONS, ["low_level"]), "level_cdb": -2500}
SILENT = {
    "verdict": names.RETRY,
    "reasons": names.mask_of(names.REASONS, ["nothing_heard"]),
    "level_cdb": records.NONE_I16,
    "frequency_hz": 0,
}


class Yard:
    """One van in round 1, its readings, and its work list."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.van = add_vehicle(store, "Van 1")
        add_round(store, 1, [self.van])
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
        with self.store.read() as connection:
            return worklist.load(connection, states or (worklist.OPEN, worklist.DONE, worklist.PROVED))

    def state(self) -> state.VehicleState:
        with self.store.read() as connection:
            return state.of_vehicles(connection, vehicles.load(connection, [self.van]))[0]
