"""Firmware kernels as the chip's own machine code, on an emulated Cortex-M0+.

    core = Core()
    fold = core.load("curbtick_probe/dsp/bandpass.py", "fold")
    run = fold(samples, state, 128)        # arrays are changed in place, as on the chip
    run.cycles, run.result

The recipe: code, buffers and stack lie in SRAM; a kernel reaches MicroPython only through a table of
functions, so a table of stubs stands behind it. The stubs that convert arguments and results return at once,
which lets raw 32-bit words pass; the two integer divisions are done here and charged DIVISION_CYCLES;
anything else a kernel asks of MicroPython (a global, an attribute, an allocation) is an error. Cycles are
those of the kernel alone, from its first instruction to its return: the interpreter's call and the conversion
of each argument come on top.
"""

import ast
from array import array
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from rp2040py.rp2040 import RP2040

from tests.target.mpy import KIND_VIPER, OBJECT_FUN_TABLE, Module, TargetError, compile_module, read_module

ROOT = Path(__file__).resolve().parents[2]
FIRMWARE = ROOT / "firmware"

SRAM = 0x20000000
CODE = SRAM + 0x400
STUBS = SRAM + 0x8000
FUN_TABLE = STUBS + 0x400
CONTEXT = FUN_TABLE + 0x400
OBJECTS = CONTEXT + 0x20
FUNCTION = CONTEXT + 0x400
ARGUMENTS = FUNCTION + 0x20
BUFFERS = SRAM + 0xA000
STACK_TOP = SRAM + 0x42000
STACK_BYTES = 0x1000

# Places in mp_fun_table (py/nativeglue.h of .mpy version 6.3); 3 and 4 convert arguments and results.
SLOT_TO_NATIVE, SLOT_TO_OBJECT, SLOT_FLOOR_DIVIDE, SLOT_MODULO = 3, 4, 46, 47
SLOTS = 96
RETURNED = 255
BKPT, BX_LR = 0xBE00, 0x4770
DIVISION_CYCLES = (
    60  # a software division in C on a Cortex-M0+, with its call: our estimate, on the high side
)
GUARD = b"\xc5\x5c\xa3\x3a" * 4
STACK_FILL = b"\x9d"
STEP_LIMIT = 50_000_000

Buffer = array | bytearray | bytes  # type: ignore[type-arg]


@dataclass(frozen=True)
class Run:
    """What a call did: cycles of the kernel, its result as a signed word, and the bytes of stack it used."""

    cycles: int
    result: int
    stack_bytes: int


@dataclass(frozen=True)
class Kernel:
    """A viper function ready to run: its code, and which objects its module keeps."""

    name: str
    parameters: int
    returns: bool
    code: bytes
    object_kinds: tuple[int, ...]
    core: "Core"

    def __call__(self, *args: Buffer | int) -> Run:
        """Runs to the return. Buffers are changed in place; an int must fit 32 bits, signed or not."""
        if len(args) != self.parameters:
            raise TargetError(f"{self.name} takes {self.parameters} arguments, {len(args)} given")
        return self.core.run(self, args)


@cache
def _compiled(path: Path, _stamp: int) -> tuple[Module, tuple[ast.FunctionDef, ...]]:
    functions = tuple(n for n in ast.parse(path.read_text()).body if isinstance(n, ast.FunctionDef))
    module = read_module(compile_module(path))
    if len(module.body.children) != len(functions):
        raise TargetError(f"{path.name} must hold plain functions only, so that each is known by its place")
    return module, functions


class Core:
    """One emulated core with its 264 kB of SRAM. Kernels loaded from it share nothing but the core."""

    def __init__(self) -> None:
        self._chip = RP2040()
        self._chip.on_break = self._on_break
        self._returned = False

    def load(self, source: str | Path, function: str) -> Kernel:
        """Compiles a module (a path, or one relative to firmware/) and finds the viper function."""
        path = FIRMWARE / source
        module, functions = _compiled(path, path.stat().st_mtime_ns)
        for node, raw in zip(functions, module.body.children, strict=True):
            if node.name == function:
                if raw.kind != KIND_VIPER:
                    raise TargetError(f"{function} in {path.name} is not a viper function")
                count = len(node.args.args)
                return Kernel(function, count, node.returns is not None, raw.code, module.object_kinds, self)
        raise TargetError(f"{path.name} has no function {function}")

    def run(self, kernel: Kernel, args: tuple[Buffer | int, ...]) -> Run:
        """Lays everything out in SRAM, runs, and copies the buffers back."""
        self._lay_out_runtime(kernel)
        placed = self._lay_out_arguments(args)
        cycles = self._execute(kernel.name, len(args))
        self._copy_back(kernel.name, placed)
        result = self._result()
        return Run(cycles, result - (1 << 32) if result >> 31 else result, self._stack_used())

    def _lay_out_runtime(self, kernel: Kernel) -> None:
        if len(kernel.code) > STUBS - CODE:
            raise TargetError(f"{kernel.name} is {len(kernel.code)} bytes of code: too long")
        self._write(CODE, kernel.code)
        for slot in range(SLOTS):
            first = BX_LR if slot in (SLOT_TO_NATIVE, SLOT_TO_OBJECT) else BKPT | slot
            self._words(STUBS + 4 * slot, [BX_LR << 16 | first])
            self._words(FUN_TABLE + 4 * slot, [STUBS + 4 * slot | 1])
        self._words(STUBS + 4 * SLOTS, [BKPT | RETURNED])
        self._words(FUNCTION, [0, CONTEXT])
        self._words(CONTEXT, [0, 0, 0, OBJECTS])
        self._words(OBJECTS, [FUN_TABLE if kind == OBJECT_FUN_TABLE else 0 for kind in kernel.object_kinds])
        self._write(STACK_TOP - STACK_BYTES, STACK_FILL * STACK_BYTES)

    def _lay_out_arguments(self, args: tuple[Buffer | int, ...]) -> list[tuple[Buffer, int]]:
        placed: list[tuple[Buffer, int]] = []
        at = BUFFERS
        for index, value in enumerate(args):
            if isinstance(value, int):
                word = self._checked_word(index, value)
            elif (known := _address_of(value, placed)) is not None:
                word = known
            else:
                word = at + len(GUARD)
                placed.append((value, word))
                at = self._place_buffer(value, at)
            self._words(ARGUMENTS + 4 * index, [word])
        return placed

    def _checked_word(self, index: int, value: int) -> int:
        if not -(1 << 31) <= value < 1 << 32:
            raise TargetError(f"argument {index} is {value}: not a 32-bit word")
        return value & 0xFFFFFFFF

    def _place_buffer(self, buffer: Buffer, at: int) -> int:
        data = bytes(memoryview(buffer).cast("B"))
        padded = data + bytes(-len(data) % 4)
        if at + len(padded) + 2 * len(GUARD) > STACK_TOP - STACK_BYTES:
            raise TargetError("the buffers do not fit the chip's memory")
        self._write(at, GUARD + padded + GUARD)
        return at + len(padded) + 2 * len(GUARD)

    def _execute(self, name: str, argument_count: int) -> int:
        core = self._chip.core
        entry = {0: FUNCTION, 1: argument_count, 2: 0, 3: ARGUMENTS, 14: STUBS + 4 * SLOTS | 1}
        for register, value in entry.items():
            core.registers[register] = value
        core.sp, core.pc = STACK_TOP, CODE
        self._returned = False
        start = core.cycles
        step = core.execute_instruction
        for _ in range(STEP_LIMIT):
            step()
            if self._returned:
                return int(core.cycles - start)
        raise TargetError(f"{name} did not return within {STEP_LIMIT} instructions")

    def _result(self) -> int:
        return int(self._chip.core.registers[0])

    def _on_break(self, slot: int) -> None:
        core = self._chip.core
        if slot == RETURNED:
            self._returned = True
            return
        core.registers[0] = divided(slot, core.registers[0], core.registers[1])
        core.cycles += DIVISION_CYCLES

    def _copy_back(self, name: str, placed: list[tuple[Buffer, int]]) -> None:
        for buffer, address in placed:
            view = memoryview(buffer).cast("B")
            padding = -len(view) % 4
            before = self._read(address - len(GUARD), len(GUARD))
            behind = self._read(address + len(view), padding + len(GUARD))
            if before != GUARD or behind != bytes(padding) + GUARD:
                raise TargetError(f"{name} wrote outside a buffer of {len(view)} bytes")
            after = self._read(address, len(view))
            if not view.readonly:
                view[:] = after
            elif view != after:
                raise TargetError(f"{name} wrote into a constant")

    def _stack_used(self) -> int:
        stack = self._read(STACK_TOP - STACK_BYTES, STACK_BYTES)
        return len(stack.lstrip(STACK_FILL))

    def _write(self, address: int, data: bytes) -> None:
        self._chip.sram[address - SRAM : address - SRAM + len(data)] = data

    def _read(self, address: int, count: int) -> bytes:
        return bytes(self._chip.sram[address - SRAM : address - SRAM + count])

    def _words(self, address: int, words: list[int]) -> None:
        self._write(address, b"".join(word.to_bytes(4, "little") for word in words))


def divided(slot: int, left: int, right: int) -> int:
    """What MicroPython answers to a division of two words; raises TargetError for any other service."""
    if slot not in (SLOT_FLOOR_DIVIDE, SLOT_MODULO):
        raise TargetError(
            f"the kernel asks MicroPython for service {slot}: only arguments, constants and locals"
        )
    if right == 0:
        raise TargetError("division by zero")
    over, under = _signed(left), _signed(right)
    return (over // under if slot == SLOT_FLOOR_DIVIDE else over % under) & 0xFFFFFFFF


def _address_of(buffer: Buffer, placed: list[tuple[Buffer, int]]) -> int | None:
    return next((address for known, address in placed if known is buffer), None)


def _signed(word: int) -> int:
    return word - (1 << 32) if word >> 31 else word
