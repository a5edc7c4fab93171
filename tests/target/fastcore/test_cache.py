"""What the C core notes beside its instructions: the flash cache's misses, the stack's end, the blocks that wait."""

from __future__ import annotations

import struct
from typing import Any

import pytest
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from tests.target.fastcore.core import FastCore

FLASH, SRAM = 0x10000000, 0x20000000
DATA = 0x20000
LINE, WAY_BYTES, WAYS = 8, 8192, 2
MISS = 64
NOP, LDR_R0_R1, PUSH_R0, LDRH_R0_R1 = 0xBF00, 0x6808, 0xB401, 0x8808
R1 = 1


def core(miss_cycles: int = MISS) -> tuple[Any, FastCore]:
    """A chip and its C core with a cache before flash."""
    made: Any = Simulator()
    made.rp2040.logger = ConsoleLogger(LogLevel.ERROR)
    fast = FastCore(made.rp2040)
    fast.slow_flash(miss_cycles)
    return made.rp2040, fast


def run(chip: Any, fast: FastCore, address: int, halves: list[int]) -> tuple[int, int]:
    """Run instructions at an address in flash, once each; (misses, cycles) that they took."""
    data = struct.pack(f"<{len(halves)}H", *halves)
    chip.flash[address - FLASH : address - FLASH + len(data)] = data
    chip.core.pc = address
    misses, cycles = fast.state.misses, 0
    while chip.core.pc < address + len(data):
        fast.run(1)
        cycles += fast.state.cycles
    return int(fast.state.misses - misses), cycles


def load(chip: Any, fast: FastCore, address: int) -> int:
    """Misses of a load by an instruction whose own line is held."""
    run(chip, fast, FLASH, [LDR_R0_R1])
    chip.core.registers[R1] = address
    return run(chip, fast, FLASH, [LDR_R0_R1])[0]


def test_a_line_is_fetched_once() -> None:
    chip, fast = core()
    assert run(chip, fast, FLASH, [NOP] * 40) == (40 * 2 // LINE, 40 + 10 * MISS)
    assert run(chip, fast, FLASH, [NOP] * 40) == (0, 40)


def test_writing_to_flash_empties_it() -> None:
    chip, fast = core()
    run(chip, fast, FLASH, [NOP] * 8)
    fast.empty_cache()
    assert run(chip, fast, FLASH, [NOP] * 8)[0] == 2


@pytest.mark.parametrize(
    ("lines", "apart", "misses"),
    [(WAYS, WAY_BYTES, 0), (WAYS + 1, WAY_BYTES, WAYS + 1), (4, WAY_BYTES // 2, 0)],
)
def test_a_set_holds_two_lines_and_gives_up_the_one_used_longer_ago(
    lines: int, apart: int, misses: int
) -> None:
    chip, fast = core()
    places = [FLASH + DATA + 8 * LINE + place * apart for place in range(lines)]
    assert sum(load(chip, fast, place) for place in places) == lines
    assert sum(load(chip, fast, place) for place in places) == misses


def test_loads_from_other_memory_miss_nothing() -> None:
    chip, fast = core()
    assert load(chip, fast, SRAM) == 0


def test_without_a_cache_flash_answers_at_once() -> None:
    made: Any = Simulator()
    fast = FastCore(made.rp2040)
    assert run(made.rp2040, fast, FLASH, [NOP] * 40) == (0, 40)


def test_the_stack_is_watched_while_a_capture_runs() -> None:
    chip, fast = core()
    chip.core.sp = SRAM + 0x1000
    run(chip, fast, FLASH, [PUSH_R0])
    assert fast.state.stack_least == 0xFFFFFFFF
    fast.state.is_capturing, fast.state.sample_ns = 1, 1e12
    run(chip, fast, FLASH, [PUSH_R0] * 3)
    assert fast.state.stack_least == SRAM + 0x1000 - 16


def test_blocks_that_wait_are_counted_when_the_next_one_is_begun() -> None:
    chip, fast = core()
    table, blocks = SRAM + 0x200, [SRAM + 0x1000, SRAM + 0x2000, SRAM + 0x3000, SRAM + 0x4000]
    for place, block in enumerate(blocks):
        chip.write_uint32(table + 4 * place, block)
    state = fast.state
    state.is_capturing, state.sample_ns = 1, 1e12
    state.table_address, state.table_mask = table + 8, 15
    state.blocks_read, state.next_read = 0, blocks[0]
    for complete, block, most in ((1, 0, 1), (4, 1, 3), (4, 2, 3), (9, 3, 6)):
        state.blocks = complete
        for address in (blocks[block] + 2, blocks[block], blocks[block]):
            chip.core.registers[R1] = address
            run(chip, fast, FLASH, [LDRH_R0_R1])
        assert state.waiting_most == most, block
    assert state.blocks_read == 4 and state.next_read == blocks[0]
