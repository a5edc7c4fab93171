"""What a reading left on one of the two boards, and what differs from the other's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from curbtick_wire import records

OF_THE_SCENE = (records.READING, records.SOUNDS, records.SNIPPET, records.BUMPER)
# Fields that tell of the board and not of the scene.
OF_THE_BOARD = ("ticks_ms", "time_to_verdict_ms", "temperature_ddeg", "battery_mv")


@dataclass
class Heard:
    """What one reading left: its records, and the samples that each listening took; the rest by the emulated board.

    verdict_ms: from the release of READ to the bar's first change; waiting: most blocks complete when the program began
    to read one; lost: conversions, and blocks of the ring; stack_free: least bytes of C stack free while it listened;
    heap_free: least bytes of heap free right after a collection;
    flash_ms: spent on erases and programs, misses: of flash's cache, both from the release to the verdict.
    """

    records: list[dict[str, Any]]
    listenings: list[int]
    verdict_ms: float = 0.0
    waiting: int = 0
    lost: int = 0
    stack_free: int = 0
    heap_free: int = 0
    flash_ms: float = 0.0
    misses: int = 0

    def told(self) -> list[dict[str, Any]]:
        """The records of the scene, without what tells of the board."""
        return [_without_board(record) for record in self.records if record["kind"] in OF_THE_SCENE]

    def reading(self) -> dict[str, Any]:
        """The values of the last reading."""
        values: dict[str, Any] = [r for r in self.records if r["kind"] == records.READING][-1]["values"]
        return values


def _without_board(record: dict[str, Any]) -> dict[str, Any]:
    values = {name: value for name, value in record["values"].items() if name not in OF_THE_BOARD}
    return {**{name: value for name, value in record.items() if name not in OF_THE_BOARD}, "values": values}


def differences(here: Heard, there: Heard) -> list[str]:
    """What differs between two boards, in words."""
    found = []
    if len(here.listenings) != len(there.listenings):
        found = [f"{len(here.listenings)} listenings and {len(there.listenings)}"]
    mine, other = here.told(), there.told()
    if len(mine) != len(other):
        return [*found, f"{len(mine)} records and {len(other)}"]
    for one, another in zip(mine, other, strict=True):
        found += [
            f"kind {one['kind']} {name}" for name in one if one[name] != another[name] and name != "values"
        ]
        values = one["values"]
        found += [
            f"{name}: {values[name]} and {another['values'].get(name)}"
            for name in values
            if values[name] != another["values"].get(name)
        ]
    return found
