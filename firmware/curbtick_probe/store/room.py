"""Space for the log: what is freed, in which order, when a shelf wants a new segment.

First waves the bench has acknowledged, then readings it has acknowledged (never the newest segment), then,
oldest first, waves nobody has pulled. Readings nobody has pulled are never freed.
"""

import os

from curbtick_probe.store.shelf import Shelf
from curbtick_probe.store.state import State

# Blocks kept free: littlefs copies on write, even to remove a file, and a new limit set must always fit.
RESERVE_BLOCKS = 6
SEGMENT_BLOCKS_MAX = 4
# A file longer than a block keeps links of the file system's own in its blocks.
_LINKS_BYTES = 4


class Room:
    """The space of the file system that holds folder, shared by two shelves.

    `segment_bytes`: what a segment of a shelf may grow to on this device; `dropped`: waves given
    up unpulled since start.
    """

    def __init__(self, folder: str, state: State) -> None:
        self._folder = folder
        self._state = state
        space = os.statvfs(folder)
        self._block_bytes = space[0]
        self._segment_blocks = max(1, min(SEGMENT_BLOCKS_MAX, space[2] // 32))
        self.segment_bytes = self._segment_blocks * (self._block_bytes - _LINKS_BYTES)
        self.dropped = 0

    def share(self, readings: "Shelf", waves: "Shelf") -> None:
        """Name the two shelves."""
        self._readings, self._waves = readings, waves

    def _free_blocks(self) -> int:
        return os.statvfs(self._folder)[3] - RESERVE_BLOCKS

    def free_bytes(self) -> int:
        """Bytes readings can still take without anything being freed."""
        growing: int = self._readings.room()
        return max(0, self._free_blocks()) * self._block_bytes + growing

    def make(self, shelf: "Shelf", next_seq: int) -> bool:
        """Free what it takes for shelf to start a segment: whether there is room now. Raises OSError.

        next_seq: kept as the lowest free number in the state before a segment goes.
        """
        other = self._waves if shelf is self._readings else self._readings
        wanted = self._segment_blocks + (other.room() + self._block_bytes - 1) // self._block_bytes
        while self._free_blocks() < wanted:
            if not self._free_one(shelf, next_seq):
                return False
        return True

    def _pulled(self, shelf: "Shelf") -> bool:
        """Whether the oldest segment holds nothing that the bench has not acknowledged."""
        return len(shelf.numbers) > 0 and (shelf.empty(0) or shelf.lasts[0] <= self._state.acknowledged)

    def _free_one(self, shelf: "Shelf", next_seq: int) -> bool:
        if self._pulled(self._waves):
            return self._free(self._waves, next_seq)
        if self._pulled(self._readings) and len(self._readings.numbers) > 1:
            return self._free(self._readings, next_seq)
        if len(self._waves.numbers) > (1 if shelf is self._waves else 0):
            self._state.widen_drop(self._waves.firsts[0], self._waves.lasts[0])
            self.dropped += self._waves.counts[0]
            return self._free(self._waves, next_seq)
        return False

    def _free(self, shelf: "Shelf", next_seq: int) -> bool:
        self._state.save(next_seq)
        shelf.free_oldest()
        return True

    def finish_drop(self) -> None:
        """At start: remove the segments of a drop that a power cut interrupted. Raises OSError."""
        while len(self._waves.numbers) and self._waves.firsts[0] <= self._state.drop_last:
            self._waves.free_oldest()
