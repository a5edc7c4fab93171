"""Made-up histories for the benchmarks: a probe's log of years over a fleet, and its way into a store."""

import binascii
import random
import struct
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from curbtick.fleet.rounds import note_sent
from curbtick.store import tables
from curbtick.store.history import Store, ensure_probe
from curbtick_wire import names, records

PROBE = "e660c0d1c7302a11"
DEPOT, FLEET, POSITIONS, A_DAY = 30, 500, 4, 400
ROUND = 50
# What a probe's full log of readings without snippets brings is several times this.
BATCH = 4000
DAY_MS = 86_400_000
_FIELDS = next(entry[2] for entry in records.KINDS if entry[0] == records.READING)
_FORMAT = struct.Struct("<BBHIII" + "".join(field[1] for field in _FIELDS))
_EVENT = struct.Struct("<BBHIIIBII")


class Maker:
    """Makes a probe's log: a boot a day, each anchored, its readings round the fleet place by place."""

    def __init__(self, count: int, fleet: int, seed: int, last_day_ms: int) -> None:
        self._count = count
        self._places = [(v, b, p) for v in range(fleet) for b in (0, 1) for p in range(1, POSITIONS + 1)]
        self._rng = random.Random(seed)
        self._days = (count + A_DAY - 1) // A_DAY
        self._last_day_ms = last_day_ms
        self._template = {name: max(low, 0) for name, _, low, _ in _FIELDS}
        self._template.update(
            positions=POSITIONS,
            class_khz=48,
            frequency_hz=48_000,
            interval_us=200_000,
            burst_us=600,
            ringdown_us=900,
            noise_cdb=-6000,
            burst_count=5,
            due_count=5,
            listened_ms=900,
            time_to_verdict_ms=950,
            limits_revision=1,
            battery_mv=4000,
            temperature_ddeg=150,
            input=0,
        )

    def batches(self) -> Iterator[list[bytes]]:
        """Raw records, a batch at a time; the last boot is the day that is reported."""
        seq, made, batch = 0, 0, []
        for day in range(self._days):
            start_s = (self._last_day_ms - (self._days - 1 - day) * DAY_MS) // 1000 + 8 * 3600
            seq += 1
            batch.append(self._anchor(seq, day + 1, start_s))
            for place in range(min(A_DAY, self._count - made)):
                seq, made = seq + 1, made + 1
                batch.append(self._reading(seq, day + 1, place, made))
                if len(batch) >= BATCH:
                    yield batch
                    batch = []
        if batch:
            yield batch

    def _anchor(self, seq: int, boot: int, at_s: int) -> bytes:
        event = names.EVENTS.index("anchored")
        return _closed(_EVENT.pack(records.EVENT, 1, _EVENT.size + 4, seq, boot, 0, event, at_s, 20))

    def _reading(self, seq: int, boot: int, place: int, made: int) -> bytes:
        vehicle, bumper, position = self._places[made % len(self._places)]
        level = round(self._rng.gauss(-800, 60))
        verdict = names.PASS
        if self._rng.random() < 0.02:
            level, verdict = level - 1300, names.WEAK
        fields = self._template
        fields["round_id"], fields["vehicle"] = vehicle // ROUND + 1, vehicle % ROUND + 1
        fields["bumper"], fields["position"] = bumper, position
        fields["verdict"], fields["level_cdb"], fields["reasons"] = verdict, level, verdict == names.WEAK
        size = _FORMAT.size + 4
        return _closed(_FORMAT.pack(records.READING, 1, size, seq, boot, place * 60_000, *fields.values()))


def _closed(body: bytes) -> bytes:
    return body + struct.pack("<I", binascii.crc32(body))


def add_fleet(store: Store, fleet: int, probes: Sequence[str] = (PROBE,)) -> None:
    """The fleet's vehicles, and the rounds that name them, ROUND vehicles to a round, given to the probes."""
    with store.write() as connection:
        for probe in probes:
            key = ensure_probe(connection, probe, 0)
            for number in range(1, (fleet - 1) // ROUND + 2):
                note_sent(connection, key, "round", number, 0)
        connection.execute(
            tables.vehicles.insert(),
            [
                {
                    "id": n + 1,
                    "name": f"V{n + 1:03}",
                    "created_ms": 0,
                    "depot": f"Depot {n % 5}",
                    "is_reference": False,
                }
                for n in range(fleet)
            ],
        )
        connection.execute(
            tables.bumpers.insert(),
            [
                {"vehicle_id": n + 1, "bumper": b, "positions": POSITIONS, "class_khz": 48, "from_ms": 0}
                for n in range(fleet)
                for b in (0, 1)
            ],
        )
        connection.execute(
            tables.rounds.insert(),
            [
                {"id": n, "number": n, "made_ms": 0, "technician": f"T{n % 3}"}
                for n in range(1, (fleet - 1) // ROUND + 2)
            ],
        )
        connection.execute(
            tables.round_vehicles.insert(),
            [
                {
                    "round_id": n // ROUND + 1,
                    "place": n % ROUND + 1,
                    "vehicle_id": n + 1,
                    "rear_positions": 4,
                    "rear_class_khz": 48,
                    "front_positions": 4,
                    "front_class_khz": 48,
                }
                for n in range(fleet)
            ],
        )


def fill(path: Path, count: int, fleet: int, seed: int, last_day_ms: int) -> list[float]:
    """Ingest a history; returns the seconds of each batch."""
    laps: list[float] = []
    with Store(path) as store:
        add_fleet(store, fleet)
        for batch in Maker(count, fleet, seed, last_day_ms).batches():
            begun_s = time.perf_counter()
            store.ingest(PROBE, batch, received_ms=last_day_ms + DAY_MS)
            laps.append(time.perf_counter() - begun_s)
    return laps


def by_turns(actions: Sequence[Callable[[], object]], rounds: int) -> list[float]:
    """Best seconds of each action, taken by turns: its work is the same each time, what is more is the machine's."""
    spent: list[list[float]] = [[] for _ in actions]
    for _ in range(rounds):
        for laps, action in zip(spent, actions, strict=True):
            begun_s = time.perf_counter()
            action()
            laps.append(time.perf_counter() - begun_s)
    return [min(laps) for laps in spent]
