"""Whatever ends or stops the program, the probe comes back by itself with its log, and the log says what it was."""

from pathlib import Path
from typing import Any

import pytest
from curbtick.link import client
from curbtick.virtual.demo.technician import Technician
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.scenes import scenes
from curbtick_wire import names, records

# The firmware, whose second reading meets with a fault once.
FAULTY = """
import os
from curbtick_probe.app import start
from curbtick_probe.app.readings import Readings
from curbtick_probe.board.virtual.board import Board

board = Board()
taken = []
read = Readings.read

def fault_in_read(readings):
    taken.append(1)
    if len(taken) == 2 and "met" not in os.listdir("/probe"):
        open("/probe/met", "w").close()
        {fault}
    read(readings)

Readings.read = fault_in_read
start.run(board)
"""
HANG = "while True:\n            board.capture.start(0)\n            board.capture.block()"
FAULTS = {
    "a value": ("raise ValueError('planted')", "error", "ValueError: planted"),
    "no memory": ("bytearray(1 << 30)", "out_of_memory", "MemoryError"),
    "flash": ("raise OSError(5)", "flash", "OSError"),
    "a hang": (HANG, "watchdog", "in read"),
}


def log_after(probe: VirtualProbe) -> list[Any]:
    """Every record of the probe's log."""
    with client.connect(probe.pty_path) as link:
        return list(link.records(1))


def of_kind(found: list[Any], kind: int) -> list[Any]:
    """Those records of a kind."""
    return [record for record in found if record.kind == kind]


@pytest.mark.parametrize("name", FAULTS)
def test_it_starts_again_and_tells_of_it(name: str, tmp_path: Path) -> None:
    fault, cause, place = FAULTS[name]
    script = tmp_path / "faulty.py"
    script.write_text(FAULTY.format(fault=fault))
    with VirtualProbe(scenes.single(seed=11), tmp_path / "flash", script=script, heap_kb=4000) as probe:
        probe.run_until_idle()
        hand = Technician(probe)
        hand.read(scenes.single(seed=11), tries=0)
        probe.press()
        probe.run_until_idle()
        hand.read(scenes.single(seed=12), tries=0)
        found = log_after(probe)
    (crash,) = of_kind(found, records.CRASH)
    before, after = of_kind(found, records.READING)
    assert names.CRASHES[crash.values["cause"]] == cause
    assert place in bytes(crash.tail).decode()
    assert crash.values["crash_boot"] == before.boot == after.boot - 1
    assert [record.values["verdict"] for record in (before, after)] == [names.PASS, names.PASS]


def test_a_crash_while_the_log_fails_restarts_too(tmp_path: Path) -> None:
    script = tmp_path / "faulty.py"
    body = "self = readings\n        readings._probe.log.append = None\n        raise ValueError('planted')"
    script.write_text(FAULTY.format(fault=body))
    with VirtualProbe(scenes.single(seed=11), tmp_path / "flash", script=script, heap_kb=4000) as probe:
        probe.run_until_idle()
        hand = Technician(probe)
        hand.read(scenes.single(seed=11), tries=0)
        probe.press()
        probe.run_until_idle()
        found = log_after(probe)
    assert not of_kind(found, records.CRASH)
    starts = [r for r in of_kind(found, records.EVENT) if r.values["event"] == names.EVENTS.index("start")]
    assert len(starts) == 2 and len(of_kind(found, records.READING)) == 1


def test_nothing_is_written_while_the_supply_is_too_low(tmp_path: Path) -> None:
    """A reading then is shown as RETRY for the battery, and its record is not begun."""
    with VirtualProbe(scenes.single(seed=11), tmp_path / "flash") as probe:
        probe.run_until_idle()
        hand = Technician(probe)
        hand.read(scenes.single(seed=11), tries=0)
        before = (tmp_path / "flash").read_bytes()
        probe.bus.battery_mv = 2900
        (seen,) = hand.read(scenes.single(seed=12), tries=0)
        assert (tmp_path / "flash").read_bytes() == before
        probe.bus.battery_mv = 3900
        hand.read(scenes.single(seed=13), tries=0)
        found = log_after(probe)
    assert "battery_low" in seen.words and "log_full" not in seen.words
    assert len(of_kind(found, records.READING)) == 2
