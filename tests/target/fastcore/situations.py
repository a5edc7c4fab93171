"""One instruction in a random situation, and the three cores that do it: ours in C, the package's, and Unicorn's.

Every encoding of 16 bits lies in flash at a place of its own, so that all three read the same code at the same address
and none has to be told of new code. Loads and stores find a window of random bytes in SRAM.
"""

from __future__ import annotations

import ctypes
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Any, Protocol

import numpy as np
from rp2040py.rp2040 import RP2040
from rp2040py.utils.logging import ConsoleLogger, LogLevel
from unicorn import arm_const, unicorn_const
from unicorn.unicorn import Uc, UcError

from tests.target.fastcore.core import ChipFault, FastCore, Stop

FLASH, SRAM = 0x10000000, 0x20000000
FLASH_BYTES, SRAM_BYTES, BOOTROM_BYTES = 0x1000000, 0x42000, 0x4000
WINDOW, WINDOW_BYTES = SRAM + 0x10000, 0x2000
NOP = 0xBF00
# Three halves a place: every other instruction lies at a multiple of four, as the program counter's use shows.
PLACE_BYTES = 6
ENCODINGS = 1 << 16
IS_WIDE = range(0xF000, 0xF800)
# LSLS, LSRS, ASRS, RORS by a register.
REGISTER_SHIFTS = (0x102, 0x103, 0x104, 0x107)
CARRY = 2
THUMB = 1 << 24
EDGES = (0, 1, 2, 31, 32, 33, 255, 256, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
# DSB, DMB, ISB; MRS of PRIMASK and IPSR; MSR of PRIMASK.
SPECIAL = (
    (0xF3BF, 0x8F4F),
    (0xF3BF, 0x8F5F),
    (0xF3BF, 0x8F6F),
    (0xF3EF, 0x8210),
    (0xF3EF, 0x8305),
    (0xF384, 0x8810),
)


@dataclass(frozen=True)
class Situation:
    """An instruction of two halves at a place in flash, and the state before it.

    flags: N, Z, C, V from bit 3 down; registers: r0 to r12, sp, lr.
    """

    place: int
    op: int
    second: int
    registers: tuple[int, ...]
    flags: int
    primask: int

    @property
    def address(self) -> int:
        """Where the instruction lies."""
        return FLASH + PLACE_BYTES * self.place

    def low(self, bit: int) -> int:
        """The low register that three bits of the instruction name."""
        return self.registers[self.op >> bit & 7]


@dataclass(frozen=True)
class Outcome:
    """The state after an instruction; cycles is 0 where a core counts none."""

    registers: tuple[int, ...]
    pc: int
    flags: int
    primask: int
    window: bytes
    cycles: int

    def differences(self, other: Outcome) -> set[str]:
        """Names of the fields that differ; cycles only where both count."""
        names = {
            name for name in ("registers", "pc", "flags", "primask", "window") if self._differs(other, name)
        }
        return names | ({"cycles"} if self.cycles and other.cycles and self.cycles != other.cycles else set())

    def _differs(self, other: Outcome, name: str) -> bool:
        return bool(getattr(self, name) != getattr(other, name))


def encodings(random: Random) -> list[tuple[int, int]]:
    """Every first half with a second: a NOP, or for wide ones a random half; then more of the wide."""
    every = [(op, _second(random) if op in IS_WIDE else NOP) for op in range(ENCODINGS)]
    return every + list(SPECIAL) + [(op, _second(random)) for op in IS_WIDE]


def _second(random: Random) -> int:
    """A random second half, more often than not one of a BL."""
    return random.getrandbits(16) | (0xD000 if random.random() < 0.7 else 0)


def code_of(halves: list[tuple[int, int]]) -> bytes:
    """The flash's content: the encodings, and erased flash behind them."""
    return b"".join(struct.pack("<HHH", *pair, NOP) for pair in halves).ljust(FLASH_BYTES, b"\xff")


def window_of(random: Random) -> bytes:
    """Random bytes of which most words are odd, as what a POP takes for its program counter must be."""
    words = (random.getrandbits(32) | (random.random() < 0.94) for _ in range(WINDOW_BYTES // 4))
    return struct.pack(f"<{WINDOW_BYTES // 4}I", *words)


def situations(halves: list[tuple[int, int]], random: Random, places: Sequence[int]) -> Iterator[Situation]:
    """A random situation for each place of the code."""
    for place in places:
        op, second = halves[place]
        registers = [_value(random) for _ in range(15)]
        registers[13] = _pointer(random)
        _aim(op, registers, random)
        yield Situation(place, op, second, tuple(registers), random.getrandbits(4), random.getrandbits(1))


def _value(random: Random) -> int:
    return random.choice(
        (random.getrandbits(32), random.getrandbits(8), random.choice(EDGES), _pointer(random) | 1)
    )


def _pointer(random: Random) -> int:
    """A word's address with room on both sides for every offset."""
    return WINDOW + 0x800 + 4 * random.randrange(0x300)


def _aim(op: int, registers: list[int], random: Random) -> None:
    """Most loads, stores and branches to a register shall find memory."""
    if random.random() < 0.06:
        return
    kind = op >> 11
    if op >> 6 in REGISTER_SHIFTS:
        registers[op >> 3 & 7] = (
            random.getrandbits(24) << 8 | random.choice((*EDGES, random.getrandbits(8))) & 255
        )
    elif kind in (10, 11):
        pointer, offset = _pointer(random), 4 * random.randrange(64)
        is_twice = op >> 3 & 7 == op >> 6 & 7
        registers[op >> 6 & 7] = offset
        registers[op >> 3 & 7] = pointer // 2 if is_twice else pointer
    elif 12 <= kind <= 17:
        registers[op >> 3 & 7] = _pointer(random)
    elif kind in (24, 25):
        registers[op >> 8 & 7] = _pointer(random)
    elif op >> 8 == 0x47 and op >> 3 & 15 not in (13, 15):
        registers[op >> 3 & 15] = _pointer(random) | 1


class OneCore(Protocol):
    """A core that does one instruction; None where it does not do this one."""

    def do(self, situation: Situation, window: bytes) -> Outcome | None: ...


class Chip:
    """A chip of the package with this code in its flash; the base of two cores."""

    def __init__(self, code: bytes) -> None:
        self.chip: Any = RP2040()
        self.chip.logger = ConsoleLogger(LogLevel.ERROR)
        self.chip.flash[:] = code
        self._registers = np.asarray(self.chip.core.registers)

    def _set(self, situation: Situation, window: bytes) -> None:
        core = self.chip.core
        self._registers[:15] = situation.registers
        self._registers[15] = situation.address
        core.apsr, core.pm, core.ipsr = situation.flags << 28, bool(situation.primask), 0
        core.waiting = core.interrupts_updated = core.pending_svcall = False
        self.chip.sram[WINDOW - SRAM : WINDOW - SRAM + WINDOW_BYTES] = window

    def _outcome(self, cycles: int) -> Outcome:
        core = self.chip.core
        registers = tuple(self._registers.tolist())
        window = bytes(self.chip.sram[WINDOW - SRAM : WINDOW - SRAM + WINDOW_BYTES])
        return Outcome(registers[:15], registers[15], core.apsr >> 28, int(core.pm), window, cycles)


class PackageCore(Chip):
    """rp2040py's own core."""

    def do(self, situation: Situation, window: bytes) -> Outcome | None:
        """Every instruction, in some way."""
        self._set(situation, window)
        return self._outcome(self.chip.core.execute_instruction())


class CCore(Chip):
    """Ours."""

    def __init__(self, code: bytes, library: ctypes.CDLL | None = None) -> None:
        super().__init__(code)
        self.fast = FastCore(self.chip, library)

    def do(self, situation: Situation, window: bytes) -> Outcome | None:
        """None where it leaves the instruction to the package; ChipFault where it refuses it."""
        self._set(situation, window)
        stop = self.fast.run(1)
        return self._outcome(self.fast.state.cycles) if stop == Stop.LIMIT else None


_UNICORN_REGISTERS = [
    *range(arm_const.UC_ARM_REG_R0, arm_const.UC_ARM_REG_R0 + 13),
    arm_const.UC_ARM_REG_SP,
    arm_const.UC_ARM_REG_LR,
]


class UnicornCore:
    """Unicorn's Cortex-M0: no cycles, and no fault on an address that is not a multiple of the width."""

    def __init__(self, code: bytes) -> None:
        self._machine = Uc(
            unicorn_const.UC_ARCH_ARM, unicorn_const.UC_MODE_THUMB | unicorn_const.UC_MODE_MCLASS
        )
        self._machine.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M0)
        for start, size in ((0, BOOTROM_BYTES), (FLASH, FLASH_BYTES), (SRAM, SRAM_BYTES)):
            self._machine.mem_map(start, size)
        self._machine.mem_write(FLASH, code)

    def do(self, situation: Situation, window: bytes) -> Outcome | None:
        """None where Unicorn calls it an error, or left Thumb state; a branch may lead to where nothing is."""
        machine = self._machine
        machine.mem_write(WINDOW, window)
        for name, value in zip(_UNICORN_REGISTERS, situation.registers, strict=True):
            machine.reg_write(name, value)
        machine.reg_write(arm_const.UC_ARM_REG_PRIMASK, situation.primask)
        machine.reg_write(arm_const.UC_ARM_REG_XPSR, situation.flags << 28 | THUMB)
        try:
            machine.emu_start(situation.address | 1, 0xFFFFFFFF, count=1)
        except UcError as error:
            if error.errno != unicorn_const.UC_ERR_FETCH_UNMAPPED:
                return None
        registers = tuple(machine.reg_read(name) for name in _UNICORN_REGISTERS)
        pc, status = machine.reg_read(arm_const.UC_ARM_REG_PC), machine.reg_read(arm_const.UC_ARM_REG_XPSR)
        primask = machine.reg_read(arm_const.UC_ARM_REG_PRIMASK) & 1
        if not status & THUMB:
            return None
        return Outcome(registers, pc, status >> 28, primask, bytes(machine.mem_read(WINDOW, WINDOW_BYTES)), 0)


def attempt(core: CCore, situation: Situation, window: bytes) -> Outcome | ChipFault | None:
    """What the C core makes of a situation: an outcome, a fault, or nothing."""
    try:
        return core.do(situation, window)
    except ChipFault as fault:
        return fault


def even_pc(outcome: Outcome) -> Outcome:
    """The package keeps the lowest bit of a program counter that it was given; no core reads it."""
    return replace(outcome, pc=outcome.pc & ~1)
