"""Flash's time on the emulated board: what a command takes passes on the chip's clock, and its cache is empty then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from rp2040py.peripherals import ssi
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from tests.target.board.flash import TYPICAL_MS, WORST_MS, FlashTime
from tests.target.fastcore.engine import Engine

pytestmark = pytest.mark.usefixtures("compiler")

ADDRESS = [0, 0x10, 0]
SRAM = 0x20000000
BRANCH_TO_ITSELF = 0xE7FE


@pytest.fixture
def board() -> tuple[Any, Engine, FlashTime]:
    """A chip that goes round in one instruction, its engine, and its flash's time."""
    made: Any = Simulator()
    chip = made.rp2040
    chip.logger = ConsoleLogger(LogLevel.ERROR)
    chip.sram[0x200:0x202] = BRANCH_TO_ITSELF.to_bytes(2, "little")
    chip.core.pc = SRAM + 0x200
    made.stopped = False
    engine = Engine(made, lambda channel, begin_s: 0)
    return chip, engine, FlashTime(chip, engine)


def command(chip: Any, code: int, *data: int, enabled: bool = True) -> None:
    """What the boot ROM sends between two edges of the chip select."""
    chip.ssi._write_enabled = enabled
    for byte in (code, *ADDRESS, *data):
        chip.ssi._shift_byte(byte)
    chip.ssi._apply_command()


def passed_ms(chip: Any, engine: Engine, work: Callable[[], None]) -> float:
    """Milliseconds of the chip that work takes."""
    before = chip.clock.nanos
    work()
    engine._pass_stall()
    return float(chip.clock.nanos - before) * 1e-6


@pytest.mark.parametrize("code", TYPICAL_MS)
def test_a_command_takes_its_typical_time_and_its_bytes(
    code: int, board: tuple[Any, Engine, FlashTime]
) -> None:
    chip, engine, flash = board
    data = [0] * 256 if code == ssi.CMD_PAGE_PROGRAM else []
    took_ms = passed_ms(chip, engine, lambda: command(chip, code, *data))
    assert took_ms == pytest.approx(TYPICAL_MS[code] + (4 + len(data)) * 8 * flash.baud_cycles * 8e-6)
    assert flash.counts == {code: 1} and TYPICAL_MS[code] < WORST_MS[code]


def test_what_is_not_enabled_takes_no_time_of_the_flash(board: tuple[Any, Engine, FlashTime]) -> None:
    chip, engine, flash = board
    took_ms = passed_ms(chip, engine, lambda: command(chip, ssi.CMD_SECTOR_ERASE, enabled=False))
    assert took_ms < 0.01 and not flash.counts


def test_alarms_come_at_their_time_meanwhile(board: tuple[Any, Engine, FlashTime]) -> None:
    chip, engine, _flash = board
    seen: list[float] = []
    alarm = chip.clock.create_alarm(lambda: seen.append(chip.clock.nanos))
    alarm.schedule(5e6)
    passed_ms(chip, engine, lambda: command(chip, ssi.CMD_SECTOR_ERASE))
    assert seen == [pytest.approx(5e6, abs=100)]


def test_the_cache_is_empty_afterwards(board: tuple[Any, Engine, FlashTime]) -> None:
    chip, engine, flash = board
    engine.fast.slow_flash(flash.miss_cycles)
    engine.fast._tags[:] = 7
    command(chip, ssi.CMD_PAGE_PROGRAM, 1)
    assert not engine.fast._tags.any()
