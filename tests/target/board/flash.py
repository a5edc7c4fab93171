"""What flash takes on the emulated board: typical times of its erases and programs, of its bus, and its cache's misses.

Part: W25Q16JV, what the 40-pad RP2040 boards carry. Its data sheet's AC characteristics (revision from memory) give
page program 0.4 ms typical and 3 ms at most, 4 kB sector erase 45 ms and 400 ms, 64 kB block erase 150 ms and 2,000 ms.
`rp2040py` answers each of them at once, so the time is made to pass when the command ends.

A miss of the cache reads 8 bytes by 4 wires in continuous mode: 8 clocks of address and mode, 4 to wait, 16 of data
(boot2 for the W25Q080 family in the vendor's SDK), each as many cycles as the image sets in BAUDR, and
_CHIP_SELECT_CYCLES around them, an allowance.
"""

from __future__ import annotations

from typing import Any

from rp2040py.peripherals import ssi

from tests.target.fastcore.core import NS_PER_CYCLE
from tests.target.fastcore.engine import Engine

TYPICAL_MS = {ssi.CMD_PAGE_PROGRAM: 0.4, ssi.CMD_SECTOR_ERASE: 45.0, ssi.CMD_BLOCK_ERASE: 150.0}
WORST_MS = {ssi.CMD_PAGE_PROGRAM: 3.0, ssi.CMD_SECTOR_ERASE: 400.0, ssi.CMD_BLOCK_ERASE: 2000.0}
_MISS_CLOCKS = 8 + 4 + 16
_CHIP_SELECT_CYCLES = 8


class FlashTime:
    """Lets time pass for what a chip's flash does; counts commands by their code, and their time."""

    def __init__(self, chip: Any, engine: Engine) -> None:
        self._engine = engine
        self._ssi: Any = chip.ssi
        self.counts: dict[int, int] = {}
        self.spent_ms = 0.0
        self._apply, self._shift = self._ssi._apply_command, self._ssi._shift_byte
        self._ssi._apply_command, self._ssi._shift_byte = self._time_command, self._time_byte

    @property
    def baud_cycles(self) -> int:
        """Cycles of one clock of the flash's bus, as the image has set them."""
        return int(self._ssi._baudr) or 2

    @property
    def miss_cycles(self) -> int:
        """Cycles that a line takes which the cache does not hold."""
        return _MISS_CLOCKS * self.baud_cycles + _CHIP_SELECT_CYCLES

    def _time_byte(self, byte_out: int) -> int:
        self._engine.stall(8 * self.baud_cycles * NS_PER_CYCLE)
        return int(self._shift(byte_out))

    def _time_command(self) -> None:
        code = self._ssi._tx_buffer[0] if self._ssi._tx_buffer else 0
        writes = self._ssi._write_enabled
        self._apply()
        if code in TYPICAL_MS and writes:
            self.counts[code] = self.counts.get(code, 0) + 1
            self.spent_ms += TYPICAL_MS[code]
            self._engine.stall(TYPICAL_MS[code] * 1e6)
            self._engine.fast.empty_cache()
