"""MicroPython's heap as it lies in the emulated board's memory, seen from outside: the program notes nothing.

MicroPython 1.28, py/gc.c: the state holds, one word after the other, the allocation table's address, its length in
bytes, and (behind the finalisers' table, where there is one) the first and the last address of the pool. A byte of the
table tells of four blocks of 16 bytes, two bits each, of which 0 is a free one. The pool ends where RAM does.
"""

from __future__ import annotations

from typing import Any

import numpy as np

SRAM, HEAP_END = 0x20000000, 0x20040000
BLOCK_BYTES, BLOCKS_A_BYTE = 16, 4
# How many of a byte's four blocks are free.
_FREE_IN = np.array(
    [sum((byte >> 2 * place & 3) == 0 for place in range(4)) for byte in range(256)], np.uint8
)


class Heap:
    """The heap of a program that runs. Raises LookupError where the state is not found, or not only once."""

    def __init__(self, chip: Any) -> None:
        self._sram = np.frombuffer(chip.sram, np.uint8)
        found = sorted(set(self._candidates()))
        if len(found) != 1:
            raise LookupError(f"MicroPython's heap was found {len(found)} times in memory")
        self._table, self._bytes = found[0]

    def _candidates(self) -> list[tuple[int, int]]:
        """(place of the table, its length) wherever such words stand together."""
        words = self._sram[: len(self._sram) // 4 * 4].view(np.uint32)
        found = []
        for end in np.flatnonzero(words == HEAP_END):
            for table in range(max(0, int(end) - 8), max(0, int(end) - 2)):
                at, length, first = int(words[table]), int(words[table + 1]), int(words[end - 1])
                if SRAM < at < first < HEAP_END and length * BLOCKS_A_BYTE * BLOCK_BYTES == HEAP_END - first:
                    found.append((at - SRAM, length))
        return found

    def free_bytes(self) -> int:
        """What is free now; what is garbage but not collected yet counts as taken."""
        table = self._sram[self._table : self._table + self._bytes]
        return int(_FREE_IN[table].sum(dtype=np.int64)) * BLOCK_BYTES
