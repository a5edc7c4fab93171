"""Records and histories for the bench's tests, made with a packer that shares nothing with the store's
decoder.
"""

import binascii
import struct
from collections.abc import Mapping, Sequence
from typing import Any

from curbtick.fleet.rounds import note_sent
from curbtick.store import tables
from curbtick.store.history import Store, ensure_probe
from curbtick_wire import names, records

PROBE = "e660c0d1c7302a11"
DAY_MS = 86_400_000
NOON_MS = 1_790_000_000_000
"""A moment in September 2026 that the made-up histories start from."""

READING_DEFAULTS: dict[str, Any] = {
    "round_id": 0,
    "vehicle": 1,
    "bumper": names.REAR,
    "position": 1,
    "positions": 4,
    "class_khz": 48,
    "verdict": names.PASS,
    "level_cdb": -800,
    "frequency_hz": 48100,
    "sweep_hz": 40,
    "interval_us": 200000,
    "burst_us": 600,
    "ringdown_us": 900,
    "noise_cdb": -6000,
    "high_floor_cdb": records.NONE_I16,
    "single_cdb": 3000,
    "train_cdb": 3700,
    "burst_count": 5,
    "due_count": 5,
    "sound_count": 5,
    "listened_ms": 900,
    "time_to_verdict_ms": 950,
    "limits_revision": 1,
    "battery_mv": 4000,
    "temperature_ddeg": 180,
}


def record(
    kind: int, seq: int, values: Mapping[str, Any], boot: int = 1, ticks_ms: int = 1000, tail: bytes = b""
) -> bytes:
    fields = next(entry[2] for entry in records.KINDS if entry[0] == kind)
    body = b""
    for name, form, low, _ in fields:
        value = values.get(name, max(low, 0))
        body += struct.pack("<" + form, *(value if isinstance(value, Sequence) else [value]))
    size = 16 + len(body) + len(tail) + 4
    raw = struct.pack("<BBHIII", kind, 1, size, seq, boot, ticks_ms) + body + tail
    return raw + struct.pack("<I", binascii.crc32(raw))


def reading(seq: int, boot: int = 1, ticks_ms: int = 1000, **values: Any) -> bytes:
    return record(records.READING, seq, {**READING_DEFAULTS, **values}, boot, ticks_ms)


def anchored(seq: int, host_s: int, boot: int = 1, ticks_ms: int = 1000, uncertainty_ms: int = 20) -> bytes:
    values = {"event": names.EVENTS.index("anchored"), "value": host_s, "extra": uncertainty_ms}
    return record(records.EVENT, seq, values, boot, ticks_ms)


def add_vehicle(
    store: Store, name: str, positions: int = 4, class_khz: int = 48, from_ms: int = 0, **more: Any
) -> int:
    with store.write() as connection:
        made = connection.execute(tables.vehicles.insert().values(name=name, created_ms=from_ms, **more))
        key = int(made.inserted_primary_key[0])
        connection.execute(
            tables.bumpers.insert(),
            [
                {
                    "vehicle_id": key,
                    "bumper": b,
                    "positions": positions,
                    "class_khz": class_khz,
                    "from_ms": from_ms,
                }
                for b in (names.REAR, names.FRONT)
            ],
        )
    return key


def add_round(store: Store, number: int, vehicle_ids: Sequence[int], technician: str | None = None) -> None:
    with store.write() as connection:
        made = connection.execute(
            tables.rounds.insert().values(number=number, made_ms=0, technician=technician)
        )
        connection.execute(
            tables.round_vehicles.insert(),
            [
                {
                    "round_id": made.inserted_primary_key[0],
                    "place": place,
                    "vehicle_id": key,
                    "rear_positions": 4,
                    "rear_class_khz": 48,
                    "front_positions": 4,
                    "front_class_khz": 48,
                }
                for place, key in enumerate(vehicle_ids, 1)
            ],
        )


class Logbook:
    """Feeds readings of one probe into a store, one boot a visit, each visit anchored at its own time."""

    def __init__(self, store: Store, probe: str = PROBE) -> None:
        self.store = store
        self.probe = probe
        self.seq = 0
        self.boot = 0

    def visit(self, at_ms: int, *values: Mapping[str, Any], anchor: bool = True) -> list[int]:
        """Store one reading for each dict of values, a second apart; returns their sequence numbers."""
        self.boot += 1
        self._give({fields.get("round_id", 0) for fields in values} - {0}, at_ms)
        batch = []
        if anchor:
            self.seq += 1
            batch.append(anchored(self.seq, at_ms // 1000, self.boot, ticks_ms=0))
        seqs = []
        for place, fields in enumerate(values, 1):
            self.seq += 1
            seqs.append(self.seq)
            batch.append(reading(self.seq, self.boot, place * 1000, **fields))
        self.store.ingest(self.probe, batch, received_ms=at_ms + 3_600_000)
        return seqs

    def _give(self, numbers: set[int], at_ms: int) -> None:
        """Note that the probe got these rounds from this history."""
        with self.store.write() as connection:
            key = ensure_probe(connection, self.probe, at_ms)
            for number in numbers:
                note_sent(connection, key, "round", number, at_ms)
