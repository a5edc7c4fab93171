"""The converter's free-running capture in C: entered when the package's own ADC and DMA have begun it, left when a
program stores to one of their registers.

Only the one shape that a capture ring has is taken: 16-bit samples at the converter's request into memory that counts
on, chained to a channel that fetches the next block's address from a ring of words. Anything else stays the package's.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from rp2040py.peripherals.adc import CS_EN, CS_START_MANY, FCS_DREQ_EN, FCS_EN
from rp2040py.peripherals.dma import INCR_READ, INCR_WRITE, DREQChannel

from tests.target.fastcore.core import FastCore, Stop

CONVERSION_NS = 2000.0
PERIOD_NS = 4000.0
PERIOD_TICKS = 192
CHUNK = 512
ADC_START, ADC_END = 0x4004C000, 0x40050000
DMA_START, DMA_END = 0x50000000, 0x50004000

# The code of a channel for a conversion that begins at a time in seconds.
Convert = Callable[[int, float], int]


class RingCapture:
    """Whether a capture runs in C, and the way in and out."""

    def __init__(self, chip: Any, fast: FastCore, convert: Convert) -> None:
        self._chip, self._adc, self._dma = chip, chip.adc, chip.dma
        self._fast, self._state = fast, fast.state
        self._convert = convert
        self._samples = np.zeros(CHUNK, np.uint16)
        self._state.samples = self._samples.ctypes.data
        self._is_due = False
        self._completed_ns = 0.0
        self._channel = 0
        self._data: Any = None
        self._control: Any = None
        self._watch_conversions()

    @property
    def is_on(self) -> bool:
        """Whether the capture runs in C."""
        return bool(self._state.is_capturing)

    def _watch_conversions(self) -> None:
        """A finished conversion of a free-running capture is the moment to enter."""
        completed = self._adc.complete_adc_read

        def complete(value: int, error: bool) -> None:
            completed(value, error)
            self._completed_ns = self._chip.clock.nanos
            self._is_due = bool(self._adc.cs & CS_START_MANY and self._adc.fcs & FCS_EN)

        self._adc.complete_adc_read = complete

    def enter_if_due(self) -> None:
        """Take the capture over where the last conversion began one of the known shape."""
        if not self._is_due:
            return
        self._is_due = False
        ring = self._ring()
        if ring:
            self._data, self._control = ring
            self._enter()

    def _ring(self) -> tuple[Any, Any] | None:
        """The two channels of a capture ring, or None."""
        if not self._runs_free():
            return None
        fed = [one for one in self._dma.channels if one.active and one.treq == DREQChannel.DREQ_ADC]
        if len(fed) != 1:
            return None
        data = fed[0]
        control = self._dma.channels[data._chain_to]
        return (data, control) if _stores_blocks(data) and self._feeds(control) else None

    def _runs_free(self) -> bool:
        """Whether the converter runs at the one rate, into an empty FIFO that asks for DMA."""
        adc = self._adc
        runs = adc.cs & (CS_EN | CS_START_MANY) == CS_EN | CS_START_MANY
        asks = adc.fcs & (FCS_EN | FCS_DREQ_EN) == FCS_EN | FCS_DREQ_EN
        is_free = adc.fifo.empty and not adc.int_enable and not adc.busy
        return bool(runs and asks and is_free and adc.divider == PERIOD_TICKS)

    def _feeds(self, control: Any) -> bool:
        """Whether a channel hands on one word of a ring at a time, and tells nobody."""
        silent = not (self._dma._int_enable0 | self._dma._int_enable1)
        shape = control._data_size == 4 and control._ring_mask and control._trans_count_reload == 1
        return bool(silent and shape and not control.active)

    def _enter(self) -> None:
        state, data, control = self._state, self._data, self._control
        state.write_address, state.left = data._write_addr, data._trans_count
        state.block_samples = data._trans_count_reload
        state.table_address, state.table_mask = control._read_addr & 0xFFFFFFFF, control._ring_mask
        sample_ns, channel = self._completed_ns + PERIOD_NS, self._adc._active_channel
        if not self._is_next(channel, sample_ns - CONVERSION_NS):
            state.samples_place = state.samples_end
        state.period_ns, state.sample_ns, self._channel, state.blocks = PERIOD_NS, sample_ns, channel, 0
        first_word = state.table_address & ~state.table_mask
        state.blocks_read, state.next_read = 0, self._chip.read_uint32(first_word)
        self._adc.multi_shot_alarm.cancel()
        self._adc.sample_alarm.cancel()
        state.is_capturing = 1

    def refill(self) -> None:
        """Make the next samples."""
        state = self._state
        begin_ns = state.sample_ns - CONVERSION_NS
        for place in range(CHUNK):
            self._samples[place] = self._convert(self._channel, (begin_ns + place * PERIOD_NS) * 1e-9)
        state.samples_place, state.samples_end = 0, CHUNK

    def _is_next(self, channel: int, begin_ns: float) -> bool:
        """Whether a conversion is the one that the first sample made ahead is for."""
        return channel == self._channel and abs(begin_ns - (self._state.sample_ns - CONVERSION_NS)) < 1

    def code(self, channel: int, begin_ns: float) -> int:
        """A conversion that the package does: one that was made ahead where it is still the next, or a new one."""
        state = self._state
        if not self._is_next(channel, begin_ns) or state.samples_place >= state.samples_end:
            state.samples_place = state.samples_end
            return self._convert(channel, begin_ns * 1e-9)
        state.samples_place += 1
        state.sample_ns += PERIOD_NS
        return int(self._samples[state.samples_place - 1])

    def go_on_until(self, time_ns: float) -> None:
        """Let samples come in while the core sleeps."""
        while self._fast.capture_until(time_ns) == Stop.NO_SAMPLES:
            self.refill()

    def before_access(self, address: int, is_store: bool) -> None:
        """Before the package does an instruction: its registers must tell what C has done, a store ends the capture."""
        if not self.is_on or not (DMA_START <= address < DMA_END or ADC_START <= address < ADC_END):
            return
        if is_store:
            self.leave()
        else:
            self._give_dma()

    def _give_dma(self) -> None:
        state, data, control = self._state, self._data, self._control
        data._write_addr, data._trans_count, control._read_addr = (
            state.write_address,
            state.left,
            state.table_address,
        )
        if state.blocks:
            self._dma.int_raw |= 1 << data.index | 1 << control.index

    def leave(self) -> None:
        """Give the capture back to the package, in the middle of a conversion or of the pause behind it."""
        if not self.is_on:
            return
        self._give_dma()
        self._state.is_capturing = 0
        left_ns = self._state.sample_ns - self._chip.clock.nanos
        if left_ns > CONVERSION_NS:
            self._adc.multi_shot_alarm.schedule(left_ns - CONVERSION_NS)
        else:
            self._give_conversion(left_ns)

    def _give_conversion(self, left_ns: float) -> None:
        adc = self._adc
        adc.busy, adc.current_channel = True, self._channel
        adc.channel_values[self._channel] = self.code(self._channel, self._state.sample_ns - CONVERSION_NS)
        adc.sample_alarm.schedule(left_ns)


def _stores_blocks(data: Any) -> bool:
    """Whether a channel moves 16-bit samples to memory that counts on."""
    ctrl = data._ctrl
    moves = data._data_size == 2 and not data._ring_mask and data._trans_count > 0
    return bool(moves and ctrl & INCR_WRITE and not ctrl & INCR_READ)
