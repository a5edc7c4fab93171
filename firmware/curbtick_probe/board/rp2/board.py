"""The real board: a 40-pad RP2040 or RP2350 controller with the front end, bar and buttons of hardware_notes."""

import os
import time

import machine
from machine import ADC, PWM, Pin
from micropython import const

from curbtick_probe.board.rp2 import adc_dma, bar, pins, serial, watchdog

ROOT = "/probe"

_DEBOUNCE_MS = const(8)
_POLL_MS = const(2)
# READ and STEP held, as buttons() says it.
_BOTH_BUTTONS = const(3)
_NAP_MS = const(10)
_REFERENCE_MV = const(3300)
_SUPPLY_DIVIDER = const(3)
_AVERAGED = const(16)
_HALF_DUTY = const(32768)
_UART_WANTED = ROOT + "/uart"


class Buttons:
    """Two buttons to ground, debounced: a change counts once it has stood for _DEBOUNCE_MS."""

    def __init__(self) -> None:
        self._pins = (_input("read"), _input("step"))
        self._stable = self._candidate = self.raw()
        self._since_ms = time.ticks_ms()

    def raw(self) -> int:
        """Return the contacts as they are now: bit 0 READ, bit 1 STEP."""
        return (1 - self._pins[0].value()) | (1 - self._pins[1].value()) << 1

    def held(self) -> int:
        """Return the debounced state."""
        seen = self.raw()
        now_ms = time.ticks_ms()
        if seen != self._candidate:
            self._candidate = seen
            self._since_ms = now_ms
        elif time.ticks_diff(now_ms, self._since_ms) >= _DEBOUNCE_MS:
            self._stable = seen
        return self._stable

    def settle(self) -> int:
        """Wait until the contacts have stood still for _DEBOUNCE_MS and return the state."""
        self._candidate = self.raw()
        self._since_ms = time.ticks_ms()
        while time.ticks_diff(time.ticks_ms(), self._since_ms) < _DEBOUNCE_MS:
            machine.idle()
            self.held()
        return self.held()


class Clock:
    """Ticks that never wrap, made from MicroPython's, which do; call at least every eight minutes."""

    def __init__(self) -> None:
        self._last_us = time.ticks_us()
        self._last_ms = time.ticks_ms()
        self._us = 0
        self._ms = 0

    def us(self) -> int:
        """Return microseconds since start."""
        now = time.ticks_us()
        self._us += time.ticks_diff(now, self._last_us)
        self._last_us = now
        return self._us

    def ms(self) -> int:
        """Return milliseconds since start."""
        now = time.ticks_ms()
        self._ms += time.ticks_diff(now, self._last_ms)
        self._last_ms = now
        return self._ms


class Board:
    """The probe's hardware; same shape as board/virtual.py.

    The data directory is made on the board's own file system, which is never formatted from here. A file
    `uart` in it moves the serial from USB to the UART pins.
    """

    def __init__(self) -> None:
        self.unique_id = machine.unique_id()
        self.root = _data_directory()
        self._clock = Clock()
        self._bar = bar.Bar()
        self._beeper = Pin(pins.gpio("beeper"), Pin.OUT, value=0)
        self._buttons = Buttons()
        self._quiet_supply = Pin(pins.gpio("quiet_supply"), Pin.OUT, value=1)
        self._usb_power = Pin(pins.gpio("usb_power"), Pin.IN)
        self._supply = ADC(Pin(pins.gpio("supply")))
        self._sensor = ADC(ADC.CORE_TEMP)
        self._told_buttons = self._buttons.held()
        self._battery_mv = 0
        self._temperature_ddeg = 0
        self._watchdog = watchdog.Watchdog()
        self.hung_in = self._watchdog.hung_in
        self.capture = adc_dma.Capture()
        self.serial = serial.Uart() if _exists(_UART_WANTED) else serial.Usb()

    def ticks_us(self) -> int:
        """Microseconds since boot; past 2**30 (18 minutes) a heap integer, so not for use while listening."""
        return self._clock.us()

    def ticks_ms(self) -> int:
        """Milliseconds since boot."""
        return self._clock.ms()

    def battery_mv(self) -> int:
        """The supply voltage in millivolts: the battery's, or the USB cable's when that is plugged in.

        While sampling, the value measured before.
        """
        if not self.capture.running:
            self._battery_mv = _averaged(self._supply) * _REFERENCE_MV * _SUPPLY_DIVIDER // 65535
        return self._battery_mv

    def temperature_ddeg(self) -> int:
        """The chip's temperature in tenths of a degree Celsius; while sampling, the value measured before.

        27 degrees at 706 mV, 1.721 mV less per degree (RP2040 data sheet section 4.9.5).
        """
        if not self.capture.running:
            microvolts = _averaged(self._sensor) * _REFERENCE_MV * 1000 // 65535
            self._temperature_ddeg = 270 - (microvolts - 706_000) * 10 // 1721
        return self._temperature_ddeg

    def bar(self, mask: int) -> None:
        """Light the LEDs whose bits are set, all at once; bit 0 is the left end."""
        self._bar.show(mask)

    def beep(self, frequency_hz: int, duration_ms: int) -> None:
        """Sound the beeper and return when it is silent again; 0 Hz is a pause."""
        if not frequency_hz:
            time.sleep_ms(duration_ms)
            return
        tone = PWM(self._beeper, freq=frequency_hz, duty_u16=_HALF_DUTY)
        time.sleep_ms(duration_ms)
        tone.deinit()
        self._beeper.init(Pin.OUT, value=0)

    def buttons(self) -> int:
        """Return the buttons held: bit 0 READ, bit 1 STEP."""
        self._watchdog.feed()
        self._told_buttons = self._buttons.held()
        return self._told_buttons

    def wait(self, ms: int, heeds_serial: bool = True) -> None:
        """Sleep until ms passed, the buttons are other than buttons() last said, or (heeds_serial) data wait."""
        until_ms = time.ticks_add(time.ticks_ms(), ms)
        while not (heeds_serial and self.serial.any()) and self._buttons.held() == self._told_buttons:
            left_ms = time.ticks_diff(until_ms, time.ticks_ms())
            if left_ms <= 0:
                break
            self._watchdog.feed()
            self._nap(left_ms)
        self._clock.us()

    def _nap(self, left_ms: int) -> None:
        """Sleep up to the next look at the buttons: deeply on battery, where no USB host would miss the chip.

        A button that is held is looked at more often, for a reading begins when it is let go.
        """
        if self._told_buttons or self._usb_power.value() or self.capture.running:
            time.sleep_ms(min(left_ms, _POLL_MS))
        else:
            machine.lightsleep(min(left_ms, _NAP_MS))

    def watch(self) -> None:
        """Start the watchdog: without buttons(), wait() or feed() for its time it restarts the chip from now on."""
        self._watchdog.start()

    def feed(self) -> None:
        """Say that the program goes on."""
        self._watchdog.feed()

    def note(self, doing: int) -> None:
        """Keep what the program does, 0..255, for `hung_in` of the start after the watchdog's restart."""
        self._watchdog.note(doing)

    def reset(self) -> None:
        """Start again, as a power cycle does."""
        machine.reset()


def repl_wanted() -> bool:
    """Return whether both buttons are held: the way back to MicroPython's prompt, for main.py before all else."""
    return Buttons().settle() == _BOTH_BUTTONS


def _input(name: str) -> Pin:
    return Pin(pins.gpio(name), Pin.IN, Pin.PULL_UP)


def _averaged(converter: ADC) -> int:
    total = 0
    for _ in range(_AVERAGED):
        total += converter.read_u16()
    return total // _AVERAGED


def _exists(path: str) -> bool:
    try:
        os.stat(path)
    except OSError:
        return False
    return True


def _data_directory() -> str:
    if not _exists(ROOT):
        os.mkdir(ROOT)
    return ROOT
