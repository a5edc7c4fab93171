"""Runs a board's simulator with the C core: the package's clock, peripherals and exceptions, our instructions.

    engine = Engine(simulator, convert)
    engine.run(1e6)                 # a simulated millisecond

Between two alarms of the package's clock nothing but the core and the capture's ring can happen, so the C core runs
from alarm to alarm. It stops before each access to a peripheral; the package does that instruction.
"""

from __future__ import annotations

import math
from typing import Any

from rp2040py.simulator import Simulator

from tests.target.fastcore.capture import Convert, RingCapture
from tests.target.fastcore.core import NS_PER_CYCLE, FastCore, Stop

# So that whoever watches the board between runs sees it often.
SLICE_CYCLES = 25_000
ASLEEP_NS = 1e5


class Engine:
    """A simulator's loop. PIO programs and the chip's RUN pin are not in it."""

    def __init__(self, simulator: Simulator, convert: Convert) -> None:
        self._simulator = simulator
        self._chip: Any = simulator.rp2040
        self._core = self._chip.core
        self._clock = self._chip.clock
        self.fast = FastCore(self._chip)
        self._stall_ns = 0.0
        self.capture = RingCapture(self._chip, self.fast, convert)

    def reset(self) -> None:
        """Call when the chip is reset, before it is."""
        self.capture.leave()
        self.fast.reset()

    def run(self, duration_ns: float) -> None:
        """Run for so long, or until nothing can happen any more."""
        assert all(pio.stopped for pio in self._chip.pio), "PIO is not in this loop"
        end_ns = self._clock.nanos + duration_ns
        while self._clock.nanos < end_ns and not self._simulator.stopped:
            if self._core.waiting:
                if not self._sleep():
                    return
            elif self._core.interrupts_updated:
                self._core.check_for_interrupts()
            else:
                self._run_slice(end_ns)

    def _sleep(self) -> bool:
        """Jump to the next alarm; whether there is one."""
        idle_ns = self._clock.nanos_to_next_alarm
        if self.capture.is_on:
            idle_ns = min(idle_ns, ASLEEP_NS) if self._clock.has_scheduled_alarm else ASLEEP_NS
            self.capture.go_on_until(self._clock.nanos + idle_ns)
        self._clock.tick(idle_ns)
        return bool(idle_ns) or self._clock.has_scheduled_alarm

    def _run_slice(self, end_ns: float) -> None:
        self.capture.enter_if_due()
        stop = self.fast.run(self._slice_cycles(end_ns))
        self._clock.tick(self.fast.state.cycles * NS_PER_CYCLE)
        if stop == Stop.NO_SAMPLES:
            self.capture.refill()
        elif stop == Stop.PACKAGE and not self._core.interrupts_updated:
            self._step()

    def _slice_cycles(self, end_ns: float) -> int:
        left_ns = end_ns - self._clock.nanos
        if self._clock.has_scheduled_alarm:
            left_ns = min(left_ns, self._clock.nanos_to_next_alarm)
        return min(SLICE_CYCLES, max(0, math.ceil(left_ns / NS_PER_CYCLE)))

    def _step(self) -> None:
        state = self.fast.state
        self.capture.before_access(state.stop_address, bool(state.is_store))
        self._clock.tick(self.fast.step_package() * NS_PER_CYCLE)
        if self._stall_ns:
            self._pass_stall()

    def stall(self, duration_ns: float) -> None:
        """Let the instruction that the package is about to do take so much longer."""
        self._stall_ns += duration_ns

    def _pass_stall(self) -> None:
        left_ns, self._stall_ns = self._stall_ns, 0.0
        while left_ns > 0:
            step_ns = left_ns
            if self._clock.has_scheduled_alarm:
                step_ns = min(left_ns, max(NS_PER_CYCLE, self._clock.nanos_to_next_alarm))
            if self.capture.is_on:
                step_ns = min(step_ns, ASLEEP_NS)
                self.capture.go_on_until(self._clock.nanos + step_ns)
            self._clock.tick(step_ns)
            left_ns -= step_ns
