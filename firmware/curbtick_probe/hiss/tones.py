"""A short list of tones that allocates nothing."""

import array

from curbtick_wire import records
from micropython import const

TONES_MAX = const(8)
_SAME_HZ = const(1000)


class Tones:
    """At most TONES_MAX tones; those beyond are left out.

    count: how many there are. hz, cdb: their frequencies and levels, the first `count` of each.
    """

    def __init__(self) -> None:
        self.count = 0
        self.hz = array.array("i", [0] * TONES_MAX)
        self.cdb = array.array("h", [0] * TONES_MAX)

    def clear(self) -> None:
        """Forget all."""
        self.count = 0

    def add(self, frequency_hz: int, level_cdb: int) -> None:
        """Add a tone."""
        if self.count < TONES_MAX:
            self.hz[self.count] = frequency_hz
            self.cdb[self.count] = level_cdb
            self.count += 1

    def keep(self, frequency_hz: int, level_cdb: int) -> None:
        """Add a tone unless it is there; the loudest of one frequency counts."""
        place = self.near(frequency_hz, _SAME_HZ)
        if place < 0:
            self.add(frequency_hz, level_cdb)
        elif level_cdb > self.cdb[place]:
            self.hz[place] = frequency_hz
            self.cdb[place] = level_cdb

    def near(self, frequency_hz: int, within_hz: int) -> int:
        """Return the place of the first tone that is nearer than within_hz; -1 for none."""
        for n in range(self.count):
            if abs(self.hz[n] - frequency_hz) < within_hz:
                return n
        return -1

    def loudest_cdb(self) -> int:
        """Return the level of the loudest; NONE_I16 for none."""
        loudest = records.NONE_I16
        for n in range(self.count):
            loudest = max(loudest, self.cdb[n])
        return loudest

    def rows(self) -> list[tuple[int, int]]:
        """Return all as (frequency_hz, level_cdb); not while listening."""
        return [(self.hz[n], self.cdb[n]) for n in range(self.count)]
