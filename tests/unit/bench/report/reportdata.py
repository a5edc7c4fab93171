"""A made-up depot with everything a report shows: fading, faults, repairs, snippets, a silent bumper, a
drifted probe.
"""

import random
import re
import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from curbtick.fleet import vehicles
from curbtick.fleet.work import findings, swap
from curbtick.store.history import Store
from curbtick_wire import names, records
from curbtick_wire.classes import CLASSES_KHZ

from tests.unit.bench.benchdata import DAY_MS, PROBE, Logbook, add_round, add_vehicle, record

VISITS = 9


def snippet_tail(frequency_hz: int, level_db: float) -> tuple[int, bytes]:
    """(shift, tail) of a snippet: a burst of 384 samples and 150 envelope bytes."""
    t = np.arange(384) / 250_000
    codes = (
        2047.5
        * 10 ** (level_db / 20)
        * np.exp(-(((t - 6e-4) / 2e-4) ** 2))
        * np.sin(2 * np.pi * frequency_hz * t)
    )
    shift = max(int(np.ceil(np.log2(max(np.abs(codes).max(), 1) / 127))), 0)
    packed = (np.round(codes / (1 << shift)) + 128).astype(np.uint8).tobytes()
    return shift, packed + bytes([round(-2 * level_db) if n % 25 == 3 else 255 for n in range(150)])


def page_of(texts: Mapping[str, str], vehicle: str) -> str:
    """File name of a vehicle's page, by the vehicle's name, with which the text of its title begins."""
    title = re.compile(rf"(.*<title>|\s*){re.escape(vehicle)} - ", re.DOTALL)
    return next(name for name, text in texts.items() if name.startswith("vehicle-") and title.match(text))


class Depot:
    """Six vans over VISITS months, the last visit at `now_ms`; built into `store`."""

    def __init__(self, folder: Path, now_ms: int) -> None:
        self.path = folder / "depot.db"
        self.store = Store(self.path)
        self.now_ms = now_ms
        self._rng = random.Random(5)
        self.vans = [
            add_vehicle(
                self.store,
                f"Van {n + 1}",
                6 if n == 0 else 4,
                CLASSES_KHZ[n % 4],
                now_ms - 400 * DAY_MS,
                type="panel van" if n % 2 else "minibus",
                depot="North <yard>",
            )
            for n in range(6)
        ]
        reference = add_vehicle(self.store, "Reference", 1, 48, now_ms - 400 * DAY_MS, is_reference=True)
        add_round(self.store, 1, [*self.vans, reference], "Ann")
        self.book = Logbook(self.store)
        for visit in range(VISITS):
            self._visit(visit)

    def _visit(self, visit: int) -> None:
        last = visit == VISITS - 1
        at_ms = self.now_ms - (VISITS - 1 - visit) * 30 * DAY_MS - 3_600_000 * last
        values = [self._reading(visit, *place) for place in self._places()]
        values.append(
            {
                "round_id": 1,
                "vehicle": 7,
                "positions": 1,
                "level_cdb": -800 - (250 if visit > 5 else 0) + visit,
            }
        )
        if last:
            values += [{"vehicle": 3, "position": 1}, {"vehicle": 3, "position": 2, "level_cdb": -900}]
        seqs = self.book.visit(at_ms, *values)
        self._repair_in_between(visit, at_ms)
        if last:
            self._attach(seqs, values)
        with self.store.write() as connection:
            findings.refresh(connection)

    def _places(self) -> list[tuple[int, int, int]]:
        return [(n, b, p) for n in range(6) for b in (0, 1) for p in range(1, 7 if n == 0 else 5)]

    def _reading(self, visit: int, van: int, bumper: int, position: int) -> dict[str, Any]:
        khz = CLASSES_KHZ[van % 4]
        level_db = -8 + self._rng.gauss(0, 0.4)
        fields: dict[str, Any] = {
            "round_id": 1,
            "vehicle": van + 1,
            "bumper": bumper,
            "position": position,
            "class_khz": khz,
            "positions": 6 if van == 0 else 4,
            "frequency_hz": khz * 1000 + self._rng.randint(-400, 400),
        }
        if (van, bumper, position) == (1, 0, 2):
            level_db -= 0.7 * visit
        if (van, bumper, position) == (2, 0, 3) and visit >= VISITS - 2:
            level_db = -24.0
        if (van, bumper, position) == (3, 1, 1) and visit == VISITS - 2:
            level_db = -30.0
        if (van, bumper, position) == (0, 0, 5) and visit == VISITS - 1:
            return {
                **fields,
                "verdict": names.DEAD,
                "reasons": 1 << 5,
                "level_cdb": records.NONE_I16,
                "frequency_hz": 0,
                "interval_us": 0,
                "burst_us": 0,
                "ringdown_us": 0,
                "burst_count": 0,
            }
        if (van, bumper) == (4, 1) and visit == VISITS - 1:
            return {
                **fields,
                "verdict": names.RETRY,
                "reasons": 1 << 6,
                "level_cdb": records.NONE_I16,
                "frequency_hz": 0,
                "interval_us": 0,
                "burst_us": 0,
                "ringdown_us": 0,
                "burst_count": 0,
            }
        weak = level_db < -17
        return {
            **fields,
            "level_cdb": round(level_db * 100),
            "verdict": names.WEAK if weak else names.PASS,
            "reasons": 1 if weak else 0,
        }

    def _repair_in_between(self, visit: int, at_ms: int) -> None:
        if visit != VISITS - 2:
            return
        with self.store.write() as connection:
            findings.refresh(connection)
            for finding in findings.load(connection):
                step = "replace" if finding.vehicle == "Van 4" else "clean"
                findings.note(
                    connection,
                    finding.id,
                    step,
                    at_ms + DAY_MS,
                    "Ann",
                    "new part 17" if step == "replace" else None,
                )
            van = vehicles.load(connection, [self.vans[2]])[0]
            swap.record(connection, van, names.REAR, 3, 4, at_ms + 2 * DAY_MS, "Ann")

    def _attach(self, seqs: list[int], values: list[dict[str, Any]]) -> None:
        """Snippets and sounds of the last visit, and the result of the silent bumper."""
        batch = []
        for seq, fields in zip(seqs, values, strict=True):
            if fields.get("verdict", names.PASS) in (names.PASS, names.WEAK):
                batch += self._waves(seq, fields)
        silent = [
            seq for seq, fields in zip(seqs, values, strict=True) if fields.get("verdict") == names.RETRY
        ]
        result = {
            "round_id": 1,
            "vehicle": 5,
            "bumper": names.FRONT,
            "positions": 4,
            "class_khz": 40,
            "result": names.BUMPER_NOT_TRANSMITTING,
            "verdicts": [names.RETRY] * 6,
            "reasons": [1 << 16] * 6,
            "reading_seqs": [*silent, 0, 0],
        }
        batch.append(self._record(records.BUMPER, result))
        marked = {"round_id": 1, "vehicle": 1, "section": 1, "level_cdb": -3100}
        seal = {"verdict": 2, "tone_hz": 15_000, "measured_hz": 15_004, "below_reference_cdb": 1200}
        hiss = {"verdict": 2, "band_low_hz": 30_000, "band_high_hz": 40_000, "above_background_cdb": 600}
        batch.append(self._record(records.SEAL, {**marked, **seal}))
        batch.append(self._record(records.HISS, {**marked, **hiss}))
        self.store.ingest(PROBE, batch, received_ms=self.now_ms)

    def _waves(self, seq: int, fields: dict[str, Any]) -> list[bytes]:
        shift, tail = snippet_tail(fields.get("frequency_hz", 48_000), fields.get("level_cdb", -800) / 100)
        snippet = {
            "reading_seq": seq,
            "rate_hz": 250_000,
            "start_us": 30_000,
            "shift": shift,
            "sample_count": 384,
            "envelope_step_us": 8192,
            "envelope_count": 150,
        }
        sounds = b"".join(
            struct.pack("<HhHHB", 600 + 4000 * n, -800 if n % 4 == 0 else -4600, 24_000, 60, n % 4 != 0)
            for n in range(9)
        )
        heard = {"reading_seq": seq, "first": 0, "count": 9}
        return [self._record(records.SNIPPET, snippet, tail), self._record(records.SOUNDS, heard, sounds)]

    def _record(self, kind: int, values: dict[str, Any], tail: bytes = b"") -> bytes:
        self.book.seq += 1
        return record(kind, self.book.seq, values, self.book.boot, 900_000, tail)
