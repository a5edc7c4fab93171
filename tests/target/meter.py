"""What firmware costs on the chip: it runs on CPython, its kernels as machine code on the emulated core.

Kernel cycles are counted by the core. The interpreted part between them is counted in bytecodes, CPython's,
which come near MicroPython's in kind and number; a bytecode is charged `cycles_per_bytecode`, from a loop
whose cycles were measured on MicroPython in an emulated RP2040 (3,678 and 3,699 cycles in two measurements;
calling a viper function with seven arguments cost 3,700 there, of which about 1,100 are not bytecodes). So
the kernels' figure is exact (but for the bus and flash effects that the emulator leaves out), and the
interpreter's is an estimate.
"""

from __future__ import annotations

import sys
from array import array
from collections import Counter
from dataclasses import dataclass, field
from types import FrameType, TracebackType
from typing import Any

import tests.conftest  # noqa: F401 - puts firmware and the shim on the path
from tests.target.core import FIRMWARE, Core

# Sum of squares in bytecode, MicroPython 1.28 on an emulated RP2040 at 125 MHz: cycles an iteration.
MEASURED_LOOP_CYCLES = 3678

# Converting the arguments of a machine-code call and its result, and entering it: seven arguments, same emulator.
CALL_CYCLES = 1100


@dataclass
class Meter:
    """Counts while it is entered. `kernels` and `bytecodes` are by name; `mark()` notes the total so far."""

    core: Core = field(default_factory=Core)
    kernels: Counter[str] = field(default_factory=Counter)
    calls: Counter[str] = field(default_factory=Counter)
    bytecodes: Counter[str] = field(default_factory=Counter)
    stack_bytes: int = 0

    def __enter__(self) -> Meter:
        import micropython

        self._before = micropython.run_kernel
        micropython.run_kernel = self._run_kernel
        sys.settrace(self._trace)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        import micropython

        sys.settrace(None)
        micropython.run_kernel = self._before

    def kernel_cycles(self) -> int:
        """Cycles of machine code so far."""
        return sum(self.kernels.values())

    def interpreter_cycles(self) -> float:
        """Estimated cycles of the interpreter so far: its bytecodes, and its calls of machine code."""
        return sum(self.bytecodes.values()) * cycles_per_bytecode() + sum(self.calls.values()) * CALL_CYCLES

    def total_cycles(self) -> float:
        """Both together."""
        return self.kernel_cycles() + self.interpreter_cycles()

    def _run_kernel(self, source: str, function: str, args: tuple[Any, ...]) -> int:
        sys.settrace(None)
        run = self.core.load(source, function)(*args)
        self.kernels[function] += run.cycles
        self.calls[function] += 1
        self.stack_bytes = max(self.stack_bytes, run.stack_bytes)
        sys.settrace(self._trace)
        return run.result

    def _trace(self, frame: FrameType, event: str, argument: object) -> Any:
        if not frame.f_code.co_filename.startswith(str(FIRMWARE)):
            return None
        frame.f_trace_opcodes = True
        frame.f_trace_lines = False
        return self._count

    def _count(self, frame: FrameType, event: str, argument: object) -> Any:
        if event == "opcode":
            self.bytecodes[frame.f_code.co_qualname] += 1
        return self._count


def _loop(samples: array[int], count: int) -> int:
    total = 0
    n = 0
    while n < count:
        deviation = samples[n] - 2048
        total += deviation * deviation
        n += 1
    return total


_known: dict[str, float] = {}


def cycles_per_bytecode() -> float:
    """MEASURED_LOOP_CYCLES over the bytecodes that the same loop takes here."""
    if not _known:
        counts = [_bytecodes_of_loop(count) for count in (10, 110)]
        _known["cycles"] = MEASURED_LOOP_CYCLES * 100 / (counts[1] - counts[0])
    return _known["cycles"]


def _bytecodes_of_loop(count: int) -> int:
    counted = 0

    def local(frame: FrameType, event: str, argument: object) -> Any:
        nonlocal counted
        counted += event == "opcode"
        return local

    def begin(frame: FrameType, event: str, argument: object) -> Any:
        frame.f_trace_opcodes = True
        return local

    before = sys.gettrace()
    sys.settrace(begin)
    _loop(array("H", [0] * count), count)
    sys.settrace(before)
    return counted
