"""The same machine code on an emulated Cortex-M33, as an RP2350 runs it: PyPI `unicorn`, which counts no cycles.

What is installed is compiled for armv6m, whose instructions a Cortex-M33 has, too.
"""

from typing import Any

from unicorn import arm_const, unicorn_const
from unicorn.unicorn import Uc

from tests.target.core import (
    ARGUMENTS,
    CODE,
    FUNCTION,
    RETURNED,
    SLOTS,
    SRAM,
    STACK_TOP,
    STUBS,
    Core,
    divided,
)
from tests.target.mpy import TargetError

_SRAM_BYTES = 0x42000
_STOPS_MOST = 1_000_000
_BKPT = 0xBE


class Core33(Core):
    """One emulated core with as much memory as Core uses."""

    def __init__(self) -> None:
        self._memory = bytearray(_SRAM_BYTES)
        self._machine: Any = Uc(
            unicorn_const.UC_ARCH_ARM, unicorn_const.UC_MODE_THUMB | unicorn_const.UC_MODE_MCLASS
        )
        self._machine.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M33)
        self._machine.mem_map(SRAM, _SRAM_BYTES)
        stubs = (STUBS, STUBS + 4 * SLOTS + 2)
        self._machine.hook_add(unicorn_const.UC_HOOK_CODE, self._at_stub, None, *stubs)

    def _at_stub(self, machine: Any, address: int, _size: int, _user: Any) -> None:
        """A stub that is a break point is done here."""
        if self._memory[address - SRAM + 1] == _BKPT:
            machine.emu_stop()

    def _execute(self, name: str, argument_count: int) -> int:
        machine = self._machine
        machine.mem_write(SRAM, bytes(self._memory))
        # Another kernel's code stands there now.
        machine.ctl_flush_tb()
        entry = (FUNCTION, argument_count, 0, ARGUMENTS)
        for number, value in enumerate(entry):
            machine.reg_write(arm_const.UC_ARM_REG_R0 + number, value)
        machine.reg_write(arm_const.UC_ARM_REG_SP, STACK_TOP)
        machine.reg_write(arm_const.UC_ARM_REG_LR, STUBS + 4 * SLOTS | 1)
        self._run_to_return(name)
        self._memory[:] = machine.mem_read(SRAM, _SRAM_BYTES)
        return 0

    def _run_to_return(self, name: str) -> None:
        machine, at = self._machine, CODE
        for _ in range(_STOPS_MOST):
            machine.emu_start(at | 1, 0)
            stop = machine.reg_read(arm_const.UC_ARM_REG_PC) & ~1
            slot = self._memory[stop - SRAM]
            if slot == RETURNED:
                return
            words = [machine.reg_read(arm_const.UC_ARM_REG_R0 + number) for number in (0, 1)]
            machine.reg_write(arm_const.UC_ARM_REG_R0, divided(slot, *words))
            at = machine.reg_read(arm_const.UC_ARM_REG_LR) & ~1
        raise TargetError(f"{name} did not return within {_STOPS_MOST} divisions")

    def _result(self) -> int:
        return int(self._machine.reg_read(arm_const.UC_ARM_REG_R0))

    def _write(self, address: int, data: bytes) -> None:
        self._memory[address - SRAM : address - SRAM + len(data)] = data

    def _read(self, address: int, count: int) -> bytes:
        return bytes(self._memory[address - SRAM : address - SRAM + count])
