"""The background of the hiss check: the quietest band, its spectrum and lines, and its unrest."""

import array

from curbtick_probe.dsp.hiss import spectrum
from curbtick_probe.hiss import meter as hiss_meter
from curbtick_probe.hiss.meter import HissMeter
from curbtick_probe.hiss.puffs import RESTLESS_CDB, Puffs
from curbtick_probe.hiss.unrest import Unrest


class Background:
    """Learned by `survey` and `learn`, in use after `settle`, kept up by `follow`.

    unrest: level and thresholds. puffs: what its blocks are like.
    totals, logs, mask: the averaged spectrum and its lines, as HissMeter has them.
    calm: whether a hiss within a second stands out of it: it had none itself, and its level kept still.
    both: bins with lines in the background or in another mask (add_mask).
    """

    def __init__(self) -> None:
        self.unrest = Unrest()
        self.puffs = Puffs()
        self.totals = array.array("i", [0] * spectrum.SUMS)
        self.logs = array.array("i", [0] * spectrum.BINS)
        self.mask = bytearray(spectrum.BINS)
        self.both = bytearray(spectrum.BINS)
        self._surveyed = array.array("i", [0] * hiss_meter.STARTS)
        self._pairs = array.array("i", [0] * hiss_meter.PAIRS)
        self._learned = 0
        self._lines: list[tuple[int, int]] = []
        self._rise_cdb = 0
        self._settled_cdb = 0
        self.calm = False

    def survey(self, meter: HissMeter) -> None:
        """Add one update to the levels of every band."""
        for start in range(hiss_meter.STARTS):
            self._surveyed[start] += meter.band_level_cdb(start)

    def quietest(self) -> int:
        """Return the sub-band where the quietest band starts; the highest of equals."""
        best = 0
        for start in range(hiss_meter.STARTS):
            if self._surveyed[start] <= self._surveyed[best]:
                best = start
        return best

    def learn(self, meter: HissMeter) -> None:
        """Add one update in the chosen band."""
        self.unrest.add(meter.level_cdb)
        self.puffs.learn(meter)
        self._learned += 1
        for pair in range(hiss_meter.PAIRS):
            self._pairs[pair] += meter.pair_levels[pair]

    def pair_level_cdb(self, pair: int) -> int:
        """Return the mean level of a pair of sub-bands, dBFS * 100."""
        return self._pairs[pair] // self._learned

    def settle(self, meter: HissMeter, rise_cdb: int) -> None:
        """Fix thresholds and keep the averaged spectrum and its lines. rise_cdb: the limit set's rise to be found."""
        self._rise_cdb = rise_cdb
        self.unrest.fix(rise_cdb)
        self._settled_cdb = self.unrest.level_cdb
        self.calm = self.puffs.calm and self.unrest.spread_cdb <= RESTLESS_CDB
        self.totals[:] = meter.totals
        self.logs[:] = meter.logs
        self.mask[:] = meter.mask
        self._lines = [(meter.line_bins[n], meter.line_cdb(n)) for n in range(meter.line_count)]

    def follow(self, level_cdb: int) -> None:
        """Take in the level of a later update that was quiet, so that a slow change is no rise."""
        self.unrest.add(level_cdb)
        self.unrest.fix(self._rise_cdb)

    def drift_cdb(self) -> int:
        """Return how far the level has moved since the spectrum was kept."""
        return self.unrest.level_cdb - self._settled_cdb

    def has_line(self, line_bin: int, level_cdb: int, more_cdb: int) -> bool:
        """Whether the background has a line within two bins, at most more_cdb below."""
        for known_bin, known_cdb in self._lines:
            if abs(known_bin - line_bin) <= 2 and level_cdb <= known_cdb + more_cdb:
                return True
        return False

    def add_mask(self, mask: bytearray) -> None:
        """Make `both`: the bins with lines in the background or in `mask`."""
        for k in range(spectrum.BINS):
            self.both[k] = self.mask[k] | mask[k]
