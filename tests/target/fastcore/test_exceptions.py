"""Where the C core and the package meet: exceptions, the divider, the clock. Each was wrong once.

A program of a few instructions runs twice on chips alike: with the package alone, one instruction at a time, and with
the C core between the package's alarms.
"""

from __future__ import annotations

import struct
from typing import Any

import pytest
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from tests.target.fastcore.core import ChipFault
from tests.target.fastcore.engine import Engine

SRAM = 0x20000000
VECTORS, CODE, HANDLER, STACK = SRAM, SRAM + 0x200, SRAM + 0x400, SRAM + 0x2000
IRQ = 5
BRANCH_TO_ITSELF, BX_LR, WFI = 0xE7FE, 0x4770, 0xBF30
SIO, TIMER = 0xD0000000, 0x40054000
DIVIDEND, QUOTIENT = 0x60, 0x70


def simulator(program: list[int], handler: list[int], registers: dict[int, int]) -> Any:
    """A chip that is about to run a program, with a handler for one interrupt."""
    made: Any = Simulator()
    chip = made.rp2040
    chip.logger = ConsoleLogger(LogLevel.ERROR)
    for address, halves in ((CODE, [*program, BRANCH_TO_ITSELF]), (HANDLER, handler)):
        data = struct.pack(f"<{len(halves)}H", *halves)
        chip.sram[address - SRAM : address - SRAM + len(data)] = data
    chip.write_uint32(VECTORS + 4 * (16 + IRQ), HANDLER | 1)
    core = chip.core
    core.vtor, core.sp, core.pc, core.enabled_interrupts = VECTORS, STACK, CODE, 1 << IRQ
    for number, value in registers.items():
        core.registers[number] = value
    made.stopped = False
    return made


def interrupt_at(made: Any, time_ns: float, lasts_ns: float) -> None:
    """The interrupt comes at a time, and goes so long after: by then the handler must have begun once."""
    core = made.rp2040.core

    def fire() -> None:
        core.set_interrupt(IRQ, True)
        off.schedule(lasts_ns)

    on = made.clock.create_alarm(fire)
    off = made.clock.create_alarm(lambda: core.set_interrupt(IRQ, False))
    on.schedule(time_ns)


def run_package(made: Any, duration_ns: float) -> None:
    """The package's loop, one instruction and one tick after the other."""
    end_ns = made.clock.nanos + duration_ns
    while made.clock.nanos < end_ns:
        if made.rp2040.core.waiting:
            made.clock.tick(made.clock.nanos_to_next_alarm)
        else:
            made.clock.tick(made.rp2040.core.execute_instruction() * 8.0)


def run_fast(made: Any, duration_ns: float) -> None:
    """The engine."""
    Engine(made, lambda channel, begin_s: 2048).run(duration_ns)


def twice(
    program: list[int],
    handler: list[int],
    registers: dict[int, int],
    at_ns: float,
    start_ns: float = 0,
    lasts_ns: float = 12,
) -> list[int]:
    """Registers after both ways, which must agree: r0 to r7, sp, lr."""
    found = []
    for run in (run_package, run_fast):
        made = simulator(program, handler, registers)
        made.clock.tick(start_ns)
        interrupt_at(made, at_ns, lasts_ns)
        run(made, 4000)
        found.append([made.rp2040.core.registers[n] for n in (*range(8), 13)])
    assert found[0] == found[1]
    return found[1]


@pytest.mark.parametrize("at_ns", range(0, 240, 8))
def test_an_interrupt_at_any_instruction(at_ns: int) -> None:
    """The handler counts in r7 while the program counts in r0."""
    program = [0x3001] * 24
    assert twice(program, [0x3701, BX_LR], {}, at_ns)[7] == 1


def test_a_handler_runs_at_its_even_address() -> None:
    """Its vector is odd; what a handler makes of its program counter is not: r6 = pc by ADR, r5 = pc by ADD."""
    handler = [0xA600, 0x2500, 0x447D, BX_LR]
    made = simulator([0xBF00] * 8, handler, {})
    interrupt_at(made, 16, 12)
    run_fast(made, 4000)
    assert made.rp2040.core.registers[6] == HANDLER + 4
    assert made.rp2040.core.registers[5] == HANDLER + 4 + 4


# The program divides r1 by r2 (str, str) and reads remainder and quotient; the handler divides by another way: it saves
# the divider's words with LDM, divides, and restores them with STM, as a program's own handlers do.
DIVIDES = [0x6001, 0x6042, 0xBF00, 0xBF00, 0xBF00, 0xBF00, 0x6945, 0x6904]
# push {r4-r7}; ldr r3, [r0, #0]; ldr r7, [r0, #4]; str r1, [r0]; str r6, [r0, #4]; str r3, [r0]; str r7, [r0, #4]
INTERRUPTS = [0xB4F0, 0x6803, 0x6847, 0x6001, 0x6046, 0x6003, 0x6047, 0xBCF0, BX_LR]


@pytest.mark.parametrize("at_ns", range(0, 160, 8))
def test_the_divider_is_one_whoever_does_the_instruction(at_ns: int) -> None:
    registers = {0: SIO + DIVIDEND, 1: 1000, 2: 7, 6: 3}
    after = twice(DIVIDES, INTERRUPTS, registers, at_ns)
    assert (after[4], after[5]) == (1000 // 7, 1000 % 7)


def test_the_divider_is_the_same_for_a_byte_load() -> None:
    """A load of a byte is the package's, which must find the quotient that the C core has."""
    made = simulator([0x6001, 0x6042, 0x7C04], [BX_LR], {0: SIO + DIVIDEND, 1: 1000, 2: 7})
    run_fast(made, 4000)
    assert made.rp2040.core.registers[4] == 1000 // 7


def test_masked_interrupts_wait_for_the_unmasking() -> None:
    """cpsid; ten instructions; cpsie: the handler runs after r0 has reached 10, and copies it."""
    program = [0xB672, *[0x3001] * 10, 0xB662, *[0x3001] * 5]
    after = twice(program, [0x1C07, BX_LR], {}, 24, lasts_ns=80)
    assert after[7] == 10


def test_sleep_ends_with_the_interrupt() -> None:
    after = twice([0x3001, WFI, 0x3001], [0x3701, BX_LR], {}, 400)
    assert (after[0], after[7]) == (2, 1)


@pytest.mark.parametrize("start_ns", [0.0, 3.0, 333.3, 999.9, 1000.0, 1234.5])
def test_the_timer_keeps_fractions_of_a_microsecond(start_ns: float) -> None:
    """Alarms are due at any nanosecond, so the clock need not stand at a whole cycle. r1 to r6: six counts."""
    wait = [0xBF00] * 40
    program = [half for number in range(1, 7) for half in (0x6A80 | number, *wait)]
    after = twice(program, [BX_LR], {0: TIMER}, 1e9, start_ns)
    assert after[6] > after[1]


def test_an_unaligned_access_is_a_fault() -> None:
    made = simulator([0x6801], [BX_LR], {0: SRAM + 0x1002})
    with pytest.raises(ChipFault, match="not a multiple"):
        run_fast(made, 4000)
