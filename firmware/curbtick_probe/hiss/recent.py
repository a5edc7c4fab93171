"""The band's levels of the newest updates."""

import array

from micropython import const

from curbtick_probe.hiss.meter import SEGMENTS

# A rise is looked for in the mean of so many updates, 1.4 s: the longest that fits into 1.5 s, which the wand stops
# where the bar rises. Two of them more than a second's make one false alarm in 30 s one in ten of what it was.
LOOK_UPDATES = const(7)


class Recent:
    """Keeps the levels of the last LOOK_UPDATES updates; allocates nothing.

    count: how many are kept.
    """

    def __init__(self) -> None:
        self._levels = array.array("h", [0] * LOOK_UPDATES)
        self._added = 0
        self.count = 0

    def restart(self) -> None:
        """Forget all."""
        self._added = self.count = 0

    def add(self, level_cdb: int) -> None:
        """Add the newest update's level."""
        self._levels[self._added % LOOK_UPDATES] = level_cdb
        self._added += 1
        self.count = min(self._added, LOOK_UPDATES)

    def _at(self, age: int) -> int:
        """The level so many updates ago, 1 being the newest."""
        return self._levels[(self._added - age) % LOOK_UPDATES]

    def mean(self, count: int) -> int:
        """Return the mean of the newest `count`, or of all where there are fewer."""
        last = min(count, self.count)
        total = 0
        for age in range(1, last + 1):
            total += self._at(age)
        return total // last

    def oldest_cdb(self) -> int:
        """Return the oldest level."""
        return self._at(self.count)

    def steady(self, range_cdb: int) -> bool:
        """Whether the last second's updates lie within this range."""
        lowest = highest = self._at(1)
        for age in range(2, SEGMENTS + 1):
            lowest = min(lowest, self._at(age))
            highest = max(highest, self._at(age))
        return highest - lowest <= range_cdb

    def lasting(self, level_cdb: int) -> bool:
        """Whether at most one of the last second's updates lies at or below a level."""
        below = 0
        for age in range(1, SEGMENTS + 1):
            below += self._at(age) <= level_cdb
        return below <= 1
