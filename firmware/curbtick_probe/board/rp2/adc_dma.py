"""The ADC running freely into a ring of blocks through DMA, on RP2040 and RP2350.

One DMA channel moves BLOCK conversions into a block and chains to a second one, which hands it the address
of the next block; so the ring turns for ever without an interrupt, and nothing is allocated while it does.
The control channel's read address tells which block is being filled. Register numbers: RP2040 data sheet
sections 2.5.7 and 4.9.6, RP2350 data sheet sections 12.6.10 and 12.4.6, as the vendor's own register
headers state them.
"""

import array
import time

import machine
import rp2
import uctypes
from curbtick_wire._typing import Ints
from curbtick_wire.sampling import BLOCK, BLOCK_US, RATE_HZ
from machine import mem32
from micropython import const

from curbtick_probe.board.rp2 import chip, pins

RING_BLOCKS = const(8)
_ADC_CLOCK_HZ = const(48_000_000)

_ADC = 0x400A0000 if chip.RP2350 else 0x4004C000
_DREQ_ADC = 48 if chip.RP2350 else 36
_CS = _ADC
_FCS = _ADC + 0x08
_FIFO = _ADC + 0x0C
_DIV = _ADC + 0x10

_CS_EN = const(1)
_CS_START_MANY = const(1 << 3)
_CS_READY = const(1 << 8)
_CS_INPUT_SHIFT = const(12)
_FCS_EN = const(1)
_FCS_DREQ = const(1 << 3)
_FCS_UNDER = const(1 << 10)
_FCS_OVER = const(1 << 11)
_FCS_LEVEL = const(15 << 16)
_FCS_THRESHOLD_ONE = const(1 << 24)
_FCS_RUN = const(_FCS_EN | _FCS_DREQ | _FCS_THRESHOLD_ONE)
_DIV_RUN = (_ADC_CLOCK_HZ // RATE_HZ - 1) << 8

_DMA = const(0x5000_0000)
_DMA_STRIDE = const(0x40)
_DMA_WRITE_ADDRESS_TRIGGER = const(0x2C)
_DMA_UNPACED = const(0x3F)
_HALFWORD = const(1)
_WORD = const(2)

# In the order of names.INPUTS.
_CHANNELS = (pins.adc_channel("low"), pins.adc_channel("padded"), pins.adc_channel("high"))


class Capture:
    """Samples of one input at RATE_HZ, handed out in blocks.

    `overruns` counts lost blocks since start: blocks the caller came too late for, and overflows of the
    ADC's own FIFO.
    """

    def __init__(self) -> None:
        self._ring = [array.array("H", bytes(2 * BLOCK)) for _ in range(RING_BLOCKS)]
        self._memory, self._table = _address_table(self._ring)
        self._data = rp2.DMA()
        self._control = rp2.DMA()
        self._completed = 0
        self._taken = 0
        self._looked_us = 0
        self._found_two = False
        self.running = False
        self.overruns = 0

    def start(self, source: int) -> None:
        """Start sampling an input: names.INPUT_LOW, INPUT_PADDED or INPUT_HIGH."""
        self.stop()
        mem32[_DIV] = _DIV_RUN
        mem32[_FCS] = _FCS_RUN | _FCS_OVER | _FCS_UNDER
        self._start_ring()
        self._completed = self._taken = self.overruns = 0
        self._found_two = False
        self._looked_us = time.ticks_us()
        self.running = True
        mem32[_CS] = _CS_EN | _CHANNELS[source] << _CS_INPUT_SHIFT | _CS_START_MANY

    def _start_ring(self) -> None:
        data, control = self._data, self._control
        data.config(
            read=_FIFO,
            write=self._ring[0],
            count=BLOCK,
            ctrl=data.pack_ctrl(
                size=_HALFWORD,
                inc_read=False,
                inc_write=True,
                treq_sel=_DREQ_ADC,
                chain_to=control.channel,
                high_pri=True,
            ),
        )
        control.config(
            read=self._table,
            write=_DMA + _DMA_STRIDE * data.channel + _DMA_WRITE_ADDRESS_TRIGGER,
            count=1,
            ctrl=control.pack_ctrl(
                size=_WORD,
                inc_read=True,
                inc_write=False,
                ring_size=5,
                ring_sel=False,
                treq_sel=_DMA_UNPACED,
            ),
            trigger=True,
        )

    def _look(self) -> None:
        """Count the blocks completed since start; the clock settles how often the ring came round."""
        now_us = time.ticks_us()
        slot = (((self._control.read - self._table) >> 2) - 1) % RING_BLOCKS
        expected = self._completed + time.ticks_diff(now_us, self._looked_us) // BLOCK_US
        half = RING_BLOCKS // 2
        completed = expected + (slot - expected + half) % RING_BLOCKS - half
        if completed > self._completed:
            self._completed = completed
            self._looked_us = now_us

    def block(self) -> Ints:
        """Return the next array('H') of BLOCK samples, 0..4095, waiting for it.

        It stays as it is until the ring comes round: RING_BLOCKS - 1 blocks later.
        """
        if self._found_two:
            self._found_two = False
        else:
            self._wait_for_one()
        taken = self._taken
        self._taken = taken + 1
        return self._ring[taken % RING_BLOCKS]

    def _wait_for_one(self) -> None:
        """Wait for the next block, and note where the one after it is there, too: looking costs more than taking."""
        self._look()
        late = self._completed - self._taken
        while late <= 0:
            machine.idle()
            self._look()
            late = self._completed - self._taken
        if late >= RING_BLOCKS:
            self.overruns += late - 1
            self._taken = self._completed - 1
        if mem32[_FCS] & _FCS_OVER:
            mem32[_FCS] = _FCS_RUN | _FCS_OVER
            self.overruns += 1
        self._found_two = 1 < late < RING_BLOCKS - 1

    def whole(self) -> int:
        """Return how many of the blocks handed out last still hold what they held, and will for a block's time."""
        if self.running:
            self._look()
        return RING_BLOCKS - 2 - (self._completed - self._taken)

    def stop(self) -> None:
        """Stop sampling and leave the ADC ready for single conversions."""
        if self.running:
            self._look()
        mem32[_CS] = _CS_EN
        while not mem32[_CS] & _CS_READY:
            pass
        self._control.active(0)
        self._data.active(0)
        mem32[_FCS] = _FCS_OVER | _FCS_UNDER
        while mem32[_FCS] & _FCS_LEVEL:
            mem32[_FIFO]
        self.running = False


def _address_table(ring: list[Ints]) -> tuple[Ints, int]:
    """Return (the memory, the address in it) of a table of the blocks' addresses, aligned to its own size."""
    size = 4 * len(ring)
    memory = array.array("I", bytes(2 * size))
    start = uctypes.addressof(memory)
    first = -start % size // 4
    for index, block in enumerate(ring):
        memory[first + index] = uctypes.addressof(block)
    return memory, start + 4 * first
