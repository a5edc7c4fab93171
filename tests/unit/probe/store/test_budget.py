"""The log's budget on a 2 MB board: 1,000 readings beside two versions of the firmware, about one erase a write."""

import json
import subprocess
from functools import lru_cache
from pathlib import Path
from typing import Any

from tests.bench import _common
from tests.paths import ROOT

SECTOR = 4096
# MicroPython's file system on a 2 MB board of this kind, as measured on its emulator: 352 sectors, 1.4 MB.
SECTORS = 352
FIRMWARE_BYTES = 2 * 150_000
READINGS = 1000


@lru_cache(maxsize=1)
def _filled() -> dict[str, Any]:
    sectors = SECTORS - -(-FIRMWARE_BYTES // SECTOR)
    environment = _common.micropython_environment()
    environment["MICROPYPATH"] += f":{ROOT / 'tests' / 'faults'}"
    program = Path(__file__).with_name("budget_probe.py")
    ran = subprocess.run(
        [*_common.micropython_command(), "-X", "heapsize=32M", str(program), str(sectors), str(READINGS)],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    filled: dict[str, Any] = json.loads(ran.stdout.splitlines()[-1])
    return filled


def test_a_thousand_readings_with_the_largest_snippets_fit_and_nothing_is_given_up() -> None:
    filled = _filled()
    assert filled["held"] == 3 * READINGS
    assert filled["dropped"] == 0
    reading, snippet, sounds = filled["record_bytes"]
    assert reading <= 128
    assert snippet == 800
    assert sounds > 128 - 9


def test_a_write_costs_about_one_erase() -> None:
    filled = _filled()
    assert filled["erases_per_step"] < 1.3
    assert filled["most_erases"] <= 4


def test_a_reading_is_in_the_log_within_a_fifth_of_a_second_at_typical_flash_times() -> None:
    # 45 ms to erase a sector, 0.7 ms to program a page: typical of serial NOR flash (from memory).
    filled = _filled()
    assert filled["mean_ms"] < 70
    assert filled["longest_ms"] < 200
