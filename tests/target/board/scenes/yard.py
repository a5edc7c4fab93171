"""The virtual yard at the emulated board's ADC pins, and a pty at its USB."""

import os
import select
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass

from curbtick.virtual.probe.bus import BarChange, Ear
from curbtick.yard.front_end import beeper
from curbtick_probe.board.rp2 import pins
from curbtick_wire import names

from tests.target.board.emulator import EmulatedBoard

INPUT_OF_CHANNEL = {
    pins.adc_channel("low"): names.INPUT_LOW,
    pins.adc_channel("padded"): names.INPUT_PADDED,
    pins.adc_channel("high"): names.INPUT_HIGH,
}
BATTERY_MV = 3600
SUPPLY_CODE = BATTERY_MV // 3 * 4095 // 3300
# 27 degrees: 706 mV.
SENSOR_CODE = 706 * 4095 // 3300
CHUNK = 1024
SAMPLE_US = 4
# Conversions further apart than this are not of one capture.
GAP_S = 30e-6
FUNCTION_PWM = 4
# A pattern of the bar that stands for less is one on the way to the next.
UNSEEN_US = 5000


@dataclass(frozen=True)
class Beep:
    """The beeper as its pin drives it, from some time ago on."""

    time_us: int
    frequency_hz: int
    duration_ms: int


class YardAdc:
    """Conversions of an ear: call with the ADC's channel. Replace `ear` between readings."""

    def __init__(self, board: EmulatedBoard, ear: Ear) -> None:
        self.ear = ear
        self._board = board
        self._last_s = -1.0
        self._channel = -1
        self._samples: list[int] = []
        self._place = 0
        self._next_us = 0

    def __call__(self, channel: int, now_s: float) -> int:
        if channel not in INPUT_OF_CHANNEL:
            return SUPPLY_CODE if channel == pins.adc_channel("supply") else SENSOR_CODE
        if channel != self._channel or now_s - self._last_s > GAP_S:
            self._channel, self._next_us = channel, round(now_s * 1e6)
            self._place = len(self._samples)
        self._last_s = now_s
        if self._place >= len(self._samples):
            self._fill(INPUT_OF_CHANNEL[channel])
        self._place += 1
        return self._samples[self._place - 1]

    def _fill(self, input_: int) -> None:
        samples = self.ear.read(CHUNK, input_, self._next_us)
        samples = beeper.hear(samples, self._beeps(), input_, self._next_us, self.ear)
        self._samples, self._place = samples.tolist(), 0
        self._next_us += CHUNK * SAMPLE_US

    def _beeps(self) -> list[Beep]:
        chip = self._board.chip
        pin = pins.gpio("beeper")
        channel = chip.pwm.channels[(pin >> 1) & 7]
        if chip.gpio[pin].ctrl & 31 != FUNCTION_PWM or not channel.csr & 1:
            return []
        divider = channel.div / 16 or 256.0
        frequency_hz = round(125e6 / divider / (channel.top + 1))
        return [Beep(0, frequency_hz, 10**9)]


class BarWatch:
    """Every change of the bar, for bar.read_bar()."""

    def __init__(self, board: EmulatedBoard) -> None:
        self._board = board
        self.changes: list[BarChange] = []

    def look(self) -> None:
        """Note the bar if it changed; its LEDs change one after the other, which no eye sees."""
        mask = self._board.lit
        if self.changes and self.changes[-1].mask == mask:
            return
        now_us = round(self._board.seconds * 1e6)
        if self.changes and now_us - self.changes[-1].time_us < UNSEEN_US:
            self.changes.pop()
        if not self.changes or self.changes[-1].mask != mask:
            self.changes.append(BarChange(now_us, mask))

    def rests_on(self, mask: int, for_s: float) -> bool:
        """Look; whether the bar has shown this mask for so long."""
        self.look()
        last = self.changes[-1]
        return last.mask == mask and self._board.seconds - last.time_us / 1e6 >= for_s


def over_usb(
    board: EmulatedBoard,
    work: Callable[[str], object],
    seconds: float,
    meanwhile: Callable[[], None] = lambda: None,
) -> None:
    """Run the board while `work(path of a pty)`, in a thread, talks to it; at most so many simulated seconds.

    meanwhile: called again and again, to do what somebody at the board does. Raises what work raised, or TimeoutError.
    """
    master, slave = os.openpty()
    tty.setraw(slave)
    failure: list[BaseException] = []

    def run() -> None:
        try:
            work(os.ttyname(slave))
        except BaseException as error:  # noqa: BLE001 - raised again in the test's own thread
            failure.append(error)

    worker = threading.Thread(target=run, daemon=True)
    worker.start()

    def shuttle() -> bool:
        while select.select([master], [], [], 0)[0]:
            board.send(os.read(master, 64))
        if board.received:
            os.write(master, bytes(board.received))
            board.received.clear()
        meanwhile()
        return not worker.is_alive()

    try:
        finished = board.run_until(shuttle, seconds)
    finally:
        worker.join(0.1)
        os.close(master)
        os.close(slave)
    if failure:
        raise failure[0]
    if not finished:
        raise TimeoutError(f"not done within {seconds} simulated seconds")
