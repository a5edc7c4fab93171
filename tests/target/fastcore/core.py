"""The C core on the registers and memories of one of rp2040py's chips.

    fast = FastCore(chip)
    stop = fast.run(limit_cycles)    # instructions were done, the chip's registers and flags tell which
    fast.step_package()              # the instruction that the C core leaves to the package

The package's core is the one that the rest of the chip knows; the C core takes its state before each run and gives it
back after. The divider and the spin locks are the C core's; the package's SIO block sees them where it does an
instruction that touches them.
"""

from __future__ import annotations

import ctypes
from enum import IntEnum
from typing import Any

import numpy as np

from tests.target.fastcore.library import State, library

NS_PER_CYCLE = 8.0
CACHE_LINES = 2048
SIO_START, SIO_END = 0xD0000000, 0xE0000000


class Stop(IntEnum):
    """Why a run ended: its limit; something that is the package's to do; the capture wants samples; a fault."""

    LIMIT = 0
    PACKAGE = 1
    NO_SAMPLES = 2
    UNALIGNED = 3
    ARM_STATE = 4


class ChipFault(Exception):
    """The program did what the chip answers with a hard fault."""


_STOPS = tuple(Stop)
_FAULTS = {
    Stop.UNALIGNED: "a load or store of more than a byte at an address that is not a multiple of its width",
    Stop.ARM_STATE: "a branch to an even address, which leaves Thumb state",
}


class FastCore:
    """One chip's C core."""

    def __init__(self, chip: Any, shared_library: ctypes.CDLL | None = None) -> None:
        self._chip = chip
        self._core = chip.core
        self._library = shared_library or library()
        self.state = State()
        self._pointer = ctypes.byref(self.state)
        views = {
            "r": self._core.registers,
            "sram": chip.sram,
            "flash": chip.flash,
            "bootrom": chip.bootrom,
            "usb_ram": chip.usb_dpram,
        }
        # The arrays keep the package's memory alive as long as C points into it.
        self._tags: Any = None
        self._views = {name: np.asarray(view) for name, view in views.items()}
        for name, view in self._views.items():
            setattr(self.state, name, view.ctypes.data)
        self.reset()

    def reset(self) -> None:
        """What a reset of the chip does to the state that is kept here."""
        state = self.state
        state.dividend = state.quotient = state.remainder = state.divider_status = 0
        state.divisor = 1
        state.spin_locks = 0
        state.is_capturing = 0
        self.empty_cache()
        self.watch_anew()

    def slow_flash(self, miss_cycles: int) -> None:
        """Put the chip's cache before flash from now on: so many cycles for a line that it does not hold."""
        self._tags = np.zeros(CACHE_LINES, np.uint32)
        self.state.cache, self.state.miss_cycles = self._tags.ctypes.data, miss_cycles

    def empty_cache(self) -> None:
        """What writing to flash does to its cache."""
        self.state.last_line = 0
        if self._tags is not None:
            self._tags.fill(0)

    def watch_anew(self) -> None:
        """Forget what was noted of captures."""
        self.state.stack_least = 0xFFFFFFFF
        self.state.waiting_most = 0

    def run(self, limit_cycles: int) -> Stop:
        """Run up to so many cycles of 8 ns; `state.cycles` of them were used. Raises ChipFault."""
        self._take_status(limit_cycles)
        stop: Stop = _STOPS[self._library.run(self._pointer)]
        self._give_status()
        if stop in _FAULTS:
            raise ChipFault(f"at {self._core.pc:#x}: {_FAULTS[stop]}")
        return stop

    def capture_until(self, time_ns: float) -> Stop:
        """Let a capture go on while the core sleeps."""
        return Stop.LIMIT if self._library.capture_until(self._pointer, time_ns) else Stop.NO_SAMPLES

    def step_package(self) -> int:
        """Let the package do the next instruction; its cycles."""
        touches_sio = SIO_START <= self.state.stop_address < SIO_END
        if touches_sio:
            self._give_sio()
        cycles = int(self._core.execute_instruction())
        if touches_sio:
            self._take_sio()
        return cycles

    def _take_status(self, limit_cycles: int) -> None:
        core, state = self._core, self.state
        status = core.apsr
        state.n, state.z, state.c, state.v = (
            status >> 31,
            status >> 30 & 1,
            status >> 29 & 1,
            status >> 28 & 1,
        )
        state.primask, state.ipsr = core.pm, core.ipsr
        state.is_pending = bool(
            core.pending_interrupts & core.enabled_interrupts
            or core.pending_systick
            or core.pending_pend_sv
            or core.pending_svcall
            or core.pending_nmi
        )
        state.start_ns, state.timer_epoch_ns = self._chip.clock.nanos, self._chip.timer._epoch_nanos
        state.limit = limit_cycles

    def _give_status(self) -> None:
        state = self.state
        self._core.apsr = state.n << 31 | state.z << 30 | state.c << 29 | state.v << 28
        self._core.pm = bool(state.primask)

    def _give_sio(self) -> None:
        sio, state = self._chip.sio, self.state
        sio.div_dividend, sio.div_divisor, sio.div_csr = state.dividend, state.divisor, state.divider_status
        sio.div_quotient, sio.div_remainder, sio.spin_lock = state.quotient, state.remainder, state.spin_locks

    def _take_sio(self) -> None:
        sio, state = self._chip.sio, self.state
        state.dividend, state.divisor = sio.div_dividend & 0xFFFFFFFF, sio.div_divisor & 0xFFFFFFFF
        state.quotient = int(sio.div_quotient) & 0xFFFFFFFF
        state.remainder = int(sio.div_remainder) & 0xFFFFFFFF
        state.divider_status, state.spin_locks = sio.div_csr, sio.spin_lock
