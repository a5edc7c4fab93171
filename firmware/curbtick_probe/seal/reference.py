"""The free reference of the seal check: a tone heard alike several times, or the reason why there is none."""

import array

from micropython import const

from curbtick_probe import reason
from curbtick_probe.seal.meter import ToneMeter
from curbtick_probe.seal.section import SAME_UHZ

# Updates of a reference: all but two must hear the tone, at one frequency and level.
REFERENCE_UPDATES = const(6)
SAME_CDB = const(300)


class Reference:
    """What the updates of one reference heard. `add` allocates nothing.

    level_cdb, offset_uhz: the tone's, in the middle of the updates, once settle() found no reason against it.
    """

    def __init__(self) -> None:
        self._levels = array.array("h", [0] * REFERENCE_UPDATES)
        self._offsets = array.array("i", [0] * REFERENCE_UPDATES)
        self.level_cdb = self.offset_uhz = 0
        self.clear()

    def clear(self) -> None:
        """Forget the last one."""
        self._updates = self._count = self._clipped = self._dead = self._lost = 0

    def add(self, meter: ToneMeter, gain_cdb: int, clipped: bool, lost: bool) -> None:
        """Take one of at most REFERENCE_UPDATES in. clipped, lost: whether its input clipped, its samples were lost."""
        self._updates += 1
        self._clipped += clipped
        self._lost += lost
        self._dead += meter.dead
        if meter.heard and not meter.clipped:
            self._levels[self._count] = meter.level_cdb + gain_cdb
            self._offsets[self._count] = meter.offset_uhz
            self._count += 1

    def settle(self) -> int:
        """Return the mask of the reason against a reference, 0 for none."""
        levels = sorted(self._levels[: self._count])
        offsets = sorted(self._offsets[: self._count])
        if self._lost:
            return reason.SAMPLES_LOST
        if self._dead:
            return reason.MICROPHONE_FAULT
        if self._clipped > 1:
            return reason.CLIPPED
        if self._count < self._updates - self._updates // 3:
            return reason.TONE_LOST
        if levels[-1] - levels[0] > 2 * SAME_CDB or offsets[-1] - offsets[0] > SAME_UHZ:
            return reason.TONE_LOST
        self.level_cdb = levels[self._count // 2]
        self.offset_uhz = offsets[self._count // 2]
        return 0
