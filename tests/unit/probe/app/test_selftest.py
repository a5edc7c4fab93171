"""The self-test on the virtual board: a sound probe passes, and each fault is named."""

import ast
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from curbtick.hardware import rails
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear
from curbtick.yard.ear.probe_state import ProbeState
from curbtick_wire import codec, names, records, settings
from numpy.typing import NDArray

SCRIPT = """
import json
from curbtick_probe.app import selftest
from curbtick_probe.board.virtual.board import Board
board = Board()
values = selftest.run(board, json.loads({limits!r}))
board.bus.ask(json.dumps(values).encode())
"""


def run(
    tmp_path: Path, ear: object, battery_mv: int = 3900, held: int = 0
) -> tuple[set[str], dict[str, int]]:
    """(the words of what failed, the record's values) of one self-test."""
    script = tmp_path / "run.py"
    script.write_text(SCRIPT.format(limits=json.dumps(settings.FACTORY_SET)))
    told: list[bytes] = []

    def hear(payload: bytes) -> bytes:
        told.append(payload)
        return b""

    probe = VirtualProbe(
        ear, tmp_path / "flash", script=script, heap_kb=4000, on_ask=hear, held=held, hold_ms=60_000
    )  # type: ignore[arg-type]
    probe.bus.battery_mv = battery_mv
    with probe:
        assert probe.wait_exit(60) == 0, probe.stderr_text()
    values = json.loads(told[0])
    return set(names.words_of(names.SELF_TESTS, values["failed"])), values


def test_a_sound_probe_passes(tmp_path: Path) -> None:
    failed, values = run(tmp_path, Ear(seed=1))
    assert failed == set()
    assert abs(values["bias_code"] - rails.rails().bias_code) < 10
    assert values["rate_permille"] == 1000
    assert -6200 < values["low_floor_cdb"] < -5400
    lowest_cdb, highest_cdb = (settings.FACTORY_SET[f"high_floor_{end}_cdb"] for end in ("min", "max"))
    assert lowest_cdb < values["high_floor_cdb"] < highest_cdb
    assert values["beep_cdb"] > values["high_floor_cdb"] + 600
    assert values["battery_mv"] == 3900


def test_its_values_make_a_record(tmp_path: Path) -> None:
    _, values = run(tmp_path, Ear(seed=1))
    header = {"seq": 1, "boot": 1, "ticks_ms": 0}
    data = codec.encode_record(records.SELF_TEST, header, values)
    assert codec.decode_record(data)["values"] == values


def test_a_missing_microphone_is_found_by_its_floor_and_by_its_deafness(tmp_path: Path) -> None:
    failed, _ = run(tmp_path, Ear(probe=ProbeState("unplugged"), seed=2))
    assert failed == {"microphone", "beeper"}


@pytest.mark.parametrize("fault", ["stuck_low", "stuck_high"])
def test_an_input_at_a_rail_is_a_bias_fault(tmp_path: Path, fault: str) -> None:
    failed, _ = run(tmp_path, Ear(probe=ProbeState(fault), seed=3))
    assert {"bias", "microphone", "low_floor"} <= failed


def test_a_dead_converter_is_no_quiet_one(tmp_path: Path) -> None:
    failed, values = run(tmp_path, Ear(probe=ProbeState("dead_code"), seed=3))
    assert "bias" not in failed
    assert {"low_floor", "microphone", "beeper"} <= failed
    assert values["low_floor_cdb"] < -6500


def test_a_flat_battery(tmp_path: Path) -> None:
    failed, _ = run(tmp_path, Ear(seed=4), battery_mv=3100)
    assert failed == {"battery"}


def test_a_stuck_button(tmp_path: Path) -> None:
    failed, _ = run(tmp_path, Ear(seed=5), held=1)
    assert failed == {"buttons"}


class Shifted:
    """A sound ear whose bias has drifted."""

    def __init__(self, codes: int) -> None:
        self._ear = Ear(seed=6)
        self._codes = codes

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        shifted: NDArray[np.uint16] = (self._ear.read(count, input, start_us) + self._codes).astype(np.uint16)
        return shifted


@pytest.mark.parametrize(("codes", "expected"), [(80, set()), (140, {"bias"})])
def test_a_drifted_bias(tmp_path: Path, codes: int, expected: set[str]) -> None:
    failed, _ = run(tmp_path, Shifted(codes))
    assert failed == expected


@pytest.fixture
def flash_script(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "no_root.py"
    path.write_text(
        "from curbtick_probe.app import selftest\nfrom curbtick_probe.board.virtual.board import Board\n"
        "board = Board()\nboard.bus.ask(b'%d' % selftest._flash_keeps('/nowhere'))\n"
    )
    yield path


def test_flash_that_refuses_is_a_fault(tmp_path: Path, flash_script: Path) -> None:
    told: list[bytes] = []

    def hear(payload: bytes) -> bytes:
        told.append(payload)
        return b""

    with VirtualProbe(None, tmp_path / "flash", script=flash_script, on_ask=hear) as probe:
        assert probe.wait_exit(60) == 0, probe.stderr_text()
    assert told == [b"0"]


def told_by(script: Path, folder: Path) -> Any:
    """What a program on a virtual probe tells, a Python literal."""
    told: list[bytes] = []

    def hear(payload: bytes) -> bytes:
        told.append(payload)
        return b""

    with VirtualProbe(Ear(seed=1), folder / "flash", script=script, heap_kb=4000, on_ask=hear) as probe:
        assert probe.wait_exit(60) == 0, probe.stderr_text()
    return ast.literal_eval(told[0].decode())


def test_it_listens_with_the_heap_locked_and_sees_an_allocation(tmp_path: Path) -> None:
    """A capture that allocates a block's own memory fails what rests on its samples, and the heap is free again."""
    script = tmp_path / "run.py"
    script.write_text(
        "from micropython import heap_lock, heap_unlock\n"
        "from curbtick_probe.app import selftest\n"
        "from curbtick_probe.board.virtual.board import Board\n"
        "from curbtick_wire import settings\n"
        "board = Board()\n"
        "block, depths = board.capture.block, [0, 0]\n"
        "def watched():\n"
        "    heap_lock()\n"
        "    depth = heap_unlock()\n"
        "    depths[depth] += 1\n"
        "    return block()\n"
        "board.capture.block = watched\n"
        "sound = selftest.run(board, settings.FACTORY_SET)['failed']\n"
        "board.capture.block = lambda: bytearray(block())\n"
        "wasteful = selftest.run(board, settings.FACTORY_SET)['failed']\n"
        "heap_lock()\n"
        "left = heap_unlock()\n"
        "board.bus.ask(repr((sound, wasteful, left, depths)).encode())\n"
    )
    sound, wasteful, left, depths = told_by(script, tmp_path)
    assert sound == 0 and left == 0
    # The first block of the rate's test is taken before the clock is read, with the heap free.
    assert depths[0] == 1 and depths[1] > 24
    assert {"bias", "rate", "beeper"} <= set(names.words_of(names.SELF_TESTS, wasteful))


def test_its_module_is_loaded_for_it_alone(tmp_path: Path) -> None:
    """Before, between and after self-tests it takes no room, and the second goes as the first."""
    script = tmp_path / "run.py"
    script.write_text(
        "import sys\n"
        "from curbtick_probe.app.machine import App, make_probe\n"
        "from curbtick_probe.board.virtual.board import Board\n"
        "board = Board()\n"
        "app = App(board, make_probe(board))\n"
        "told = []\n"
        "for _ in range(3):\n"
        "    told.append(any('selftest' in name for name in sys.modules))\n"
        "    app.test_at_power_up()\n"
        "    told.append(app._probe.failed)\n"
        "board.bus.ask(repr(told).encode())\n"
    )
    assert told_by(script, tmp_path) == [False, 0] * 3
