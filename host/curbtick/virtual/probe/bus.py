"""The bench's end of a virtual probe's board: samples from an ear, buttons from a schedule, simulated time.

The requests are those of firmware/curbtick_probe/board/virtual/board.py. Everything here runs on the bus thread of a
process (process.py); other threads use the methods marked "any thread".
"""

import struct
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from curbtick_wire.sampling import MID_CODE
from curbtick_wire.virtual import IDLE_MS
from numpy.typing import NDArray

from curbtick.yard.front_end import beeper

REQUEST = struct.Struct("<BIQ")
ANSWER = struct.Struct("<iI")

# A wait this long means that the program has nothing to do until somebody presses a button or sends something.
# Three NiMH cells in use, 1.25 V each (hardware_notes/power.md).
BATTERY_MV = 3750

READ = 1
STEP = 2
BOTH = READ | STEP

# How long a person presses a button, and holds one; the firmware tells them apart in between.
SHORT_MS, LONG_MS = 80, 900

# Simulated time between the moment an idle probe is found and the press it was waiting for.
_REACTION_US = 50_000
# Between two presses in quick succession.
_GAP_US = 120_000


# Takes so many bytes of a payload.
Read = Callable[[int], bytes]


class Ear(Protocol):
    """What the probe's microphone and ADC hear."""

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        """Return count ADC codes (0..4095) at 250 kS/s of an input (names.INPUTS), from start_us since power-on."""
        ...


class SilentEar:
    """A microphone at rest: mid-scale, no noise at all."""

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        """Return mid-scale."""
        return np.full(count, MID_CODE, dtype=np.uint16)


@dataclass(frozen=True)
class BarChange:
    """The bar of 12 LEDs (bit 0 = left) from a moment on, microseconds since power-on."""

    time_us: int
    mask: int


@dataclass(frozen=True)
class Beep:
    """One beep: start (microseconds since power-on), pitch and duration."""

    time_us: int
    frequency_hz: int
    duration_ms: int


@dataclass
class Panel:
    """What the technician saw and heard; grows as the probe runs."""

    bars: list[BarChange] = field(default_factory=list)
    beeps: list[Beep] = field(default_factory=list)

    @property
    def mask(self) -> int:
        """The bar as it is now."""
        return self.bars[-1].mask if self.bars else 0


class ButtonChange(NamedTuple):
    """The buttons that are held from a time on."""

    time_us: int
    mask: int


class Wait(NamedTuple):
    """A program that waits: since when, and for how long."""

    start_us: int
    duration_ms: int

    @property
    def end_us(self) -> int:
        """When the wait is over, if nothing happens before."""
        return self.start_us + self.duration_ms * 1000


class Buttons:
    """The two buttons over simulated time: a schedule of changes."""

    def __init__(self, held: int = 0, release_us: int = 0) -> None:
        self._changes = [ButtonChange(0, held)]
        if held:
            self._changes.append(ButtonChange(release_us, 0))

    def at(self, time_us: int) -> int:
        """Return the mask of the buttons held at a time, and forget what was before it."""
        while len(self._changes) > 1 and self._changes[1].time_us <= time_us:
            self._changes.pop(0)
        return self._changes[0].mask

    def next_change_us(self, time_us: int) -> int | None:
        """Return when the buttons change next after a time, or None."""
        return next((change.time_us for change in self._changes if change.time_us > time_us), None)

    def add(self, press_us: int, buttons: int, hold_ms: int) -> None:
        """Press buttons at a time (not before the last scheduled change) and let go hold_ms later."""
        press_us = max(press_us, self._changes[-1].time_us + 1)
        self._changes += [ButtonChange(press_us, buttons), ButtonChange(press_us + hold_ms * 1000, 0)]


class BoardBus:
    """Answers one probe program's requests.

    ear: what it hears (replaceable while idle); send: writes bytes to the program; paced: simulated time keeps to
    real time, for a person at the buttons; otherwise a wait takes no real time, and a wait of IDLE_MS or longer
    lasts until a press or serial data.
    """

    def __init__(self, ear: Ear, send: Callable[[bytes], None], *, paced: bool = False) -> None:
        self.ear = ear
        self.panel = Panel()
        self.battery_mv = BATTERY_MV
        self.temperature_ddeg = 150
        self.on_ask: Callable[[bytes], bytes] = lambda payload: b""
        self.on_panel: Callable[[Panel], None] = lambda panel: None
        self.reset_asked = False
        # Where the watchdog restarts the program: one more than what it noted last.
        self.hung = 0
        self.samples_read = 0
        self._send = send
        self._paced = paced
        self._input = 0
        self._boot_us = 0
        self._now_us = 0
        self._real_start_s = time.monotonic()
        self._wait: Wait | None = None
        self._buttons = Buttons()
        self._told_buttons = 0
        self._limit_us: int | None = None
        self._held_block: int | None = None
        self._change = threading.Condition()

    def begin(self, held: int = 0, hold_ms: int = 0) -> None:
        """Start a boot: the program's clock starts at 0 again, buttons may be held. Call before the process runs."""
        self._boot_us += self._now_us
        self._now_us = 0
        self._real_start_s = time.monotonic()
        self._wait = None
        self._limit_us = None
        self._held_block = None
        self.reset_asked = False
        self._told_buttons = held
        self._buttons = Buttons(held, hold_ms * 1000)

    # Any thread

    @property
    def now_us(self) -> int:
        """Simulated time of the latest request, microseconds since power-on of the first boot."""
        return self._boot_us + self._now_us

    def press(self, buttons: int, hold_ms: int = SHORT_MS, after_ms: int = 0, times: int = 1) -> None:
        """Press buttons (READ, STEP or BOTH) after_ms from now, or after the presses already scheduled.

        times: how often in quick succession.
        """
        with self._change:
            start_us = self._clock_us() + _REACTION_US * (not self._paced) + after_ms * 1000
            for again in range(times):
                self._buttons.add(start_us + again * (hold_ms * 1000 + _GAP_US), buttons, hold_ms)
            self._resolve()

    def let_run(self, duration_ms: int | None) -> None:
        """Let a listening program go on, for duration_ms of simulated time or (None) without end."""
        with self._change:
            self._limit_us = None if duration_ms is None else self._now_us + duration_ms * 1000
            count, self._held_block = self._held_block, None
        if count is not None:
            self._answer_block(count)

    def wait_idle(self, timeout_s: float, alive: Callable[[], bool]) -> bool:
        """Block until the program waits for a press or serial data, or is held at the end of let_run().

        False when it did not in timeout_s of real time, or ended.
        """
        deadline_s = time.monotonic() + timeout_s
        with self._change:
            while not self._idle() and self._held_block is None:
                if not alive() or time.monotonic() > deadline_s:
                    return False
                self._change.wait(0.25)
        return True

    def wake(self) -> None:
        """Let every waiting thread look again (the process has ended)."""
        with self._change:
            self._change.notify_all()

    # Bus thread

    def due_s(self) -> float | None:
        """Return in how many real seconds tick() must be called, or None for never."""
        with self._change:
            if self._wait is None or not self._paced:
                return None
            end_us = self._wait_end_us()
            return max(0.0, end_us / 1e6 - (time.monotonic() - self._real_start_s))

    def tick(self) -> None:
        """End a wait whose real time is over."""
        with self._change:
            self._resolve()

    def handle(self, operation: int, argument: int, now_us: int, read: Read) -> None:
        """Serve one request; read(count) takes a payload that follows it."""
        handler = _HANDLERS.get(operation)
        if handler is None:
            raise ValueError(f"unknown bus operation {operation}")
        with self._change:
            self._now_us = now_us
        handler(self, argument, read)

    def _clock_us(self) -> int:
        if self._paced:
            return max(self._now_us, int((time.monotonic() - self._real_start_s) * 1e6))
        return self._now_us

    def _idle(self) -> bool:
        return self._wait is not None and self._wait.duration_ms >= IDLE_MS

    def _wait_end_us(self) -> int:
        assert self._wait is not None
        start_us = self._wait.start_us
        if self._buttons.at(start_us) != self._told_buttons:
            return start_us
        end_us = self._wait.end_us
        change_us = self._buttons.next_change_us(start_us)
        return end_us if change_us is None else min(end_us, change_us)

    def _resolve(self) -> None:
        """Answer the waiting program if its wait is over; call with the lock held."""
        if self._wait is None:
            return
        end_us = self._wait_end_us()
        if self._paced:
            over = self._clock_us() >= end_us
        else:
            over = not self._idle() or end_us < self._wait.end_us
        if over:
            self._end_wait(end_us)

    def _end_wait(self, end_us: int) -> None:
        assert self._wait is not None
        start_us = self._wait.start_us
        self._wait = None
        self._now_us = end_us
        self._answer(end_us - start_us)

    def _answer(self, value: int) -> None:
        self._told_buttons = self._buttons.at(self._now_us)
        self._send(ANSWER.pack(value, self._told_buttons))

    def _keep_pace(self) -> None:
        if self._paced:
            ahead_s = self._now_us / 1e6 - (time.monotonic() - self._real_start_s)
            if ahead_s > 0.002:
                time.sleep(ahead_s)

    def _start(self, argument: int, read: Read) -> None:
        self._input = argument

    def _block(self, count: int, read: Read) -> None:
        with self._change:
            if self._limit_us is not None and self._now_us >= self._limit_us:
                self._held_block = count
                self._change.notify_all()
                return
        self._answer_block(count)

    def _answer_block(self, count: int) -> None:
        self._keep_pace()
        samples = self.ear.read(count, self._input, self.now_us)
        samples = beeper.hear(samples, self.panel.beeps, self._input, self.now_us, self.ear)
        self.samples_read += count
        self._send(np.ascontiguousarray(samples, dtype="<u2").tobytes())

    def _stop(self, argument: int, read: Read) -> None:
        """Sampling ends; the ear needs no word of it."""

    def _bar(self, mask: int, read: Read) -> None:
        self.panel.bars.append(BarChange(self.now_us, mask))
        self.on_panel(self.panel)

    def _beep(self, packed: int, read: Read) -> None:
        self.panel.beeps.append(Beep(self.now_us, packed >> 16, packed & 0xFFFF))
        self.on_panel(self.panel)
        self._keep_pace()
        self._answer(0)

    def _wait_request(self, duration_ms: int, read: Read) -> None:
        with self._change:
            self._wait = Wait(self._now_us, duration_ms)
            self._resolve()
            self._change.notify_all()

    def _cancel(self, argument: int, read: Read) -> None:
        with self._change:
            if self._wait is None:
                return
            start_us = self._wait.start_us
            self._end_wait(max(start_us, min(self._clock_us(), self._wait_end_us())))

    def _battery(self, argument: int, read: Read) -> None:
        self._answer(self.battery_mv)

    def _temperature(self, argument: int, read: Read) -> None:
        self._answer(self.temperature_ddeg)

    def _buttons_request(self, argument: int, read: Read) -> None:
        with self._change:
            self._answer(0)

    def _reset(self, argument: int, read: Read) -> None:
        self.reset_asked, self.hung = True, argument

    def _ask(self, size: int, read: Read) -> None:
        reply = self.on_ask(read(size))
        with self._change:
            self._answer(len(reply))
        self._send(reply)


_HANDLERS: dict[int, Callable[[BoardBus, int, Read], None]] = {
    ord("S"): BoardBus._start,
    ord("B"): BoardBus._block,
    ord("P"): BoardBus._stop,
    ord("L"): BoardBus._bar,
    ord("Z"): BoardBus._beep,
    ord("W"): BoardBus._wait_request,
    ord("C"): BoardBus._cancel,
    ord("V"): BoardBus._battery,
    ord("T"): BoardBus._temperature,
    ord("G"): BoardBus._buttons_request,
    ord("R"): BoardBus._reset,
    ord("Q"): BoardBus._ask,
}
