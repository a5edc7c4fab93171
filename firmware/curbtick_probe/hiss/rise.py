"""How the last second differs from the background: the rise of the band, new lines, and rises too narrow for a hiss."""

import array

from micropython import const

from curbtick_probe.dsp import level
from curbtick_probe.dsp.hiss import lines, spectrum
from curbtick_probe.hiss import meter as hiss_meter
from curbtick_probe.hiss.background import Background
from curbtick_probe.hiss.meter import BAND_BINS, PAIRS, HissMeter
from curbtick_probe.hiss.recent import LOOK_UPDATES, Recent
from curbtick_probe.hiss.tones import Tones

# A line of the background is one again while it is not this much louder.
SAME_LINE_CDB = const(600)

# Where the rises of single bins within the band differ so much (geometric below arithmetic mean), no hiss made them.
FLATNESS_CDB = const(-150)

# A pair of sub-bands (9.8 kHz) that rises this much more than those beside it holds a wavering whistle.
NARROW_CDB = const(600)
_BESIDE = const(3)

# Where nothing but a band's highest bin is known of a tone, a line so near is the same one.
_NAMED_HZ = const(3000)

# Without its lines a band's rise is less certain: one second is compared with one second, in fewer bins.
LINES_GUARD_CDB = const(50)

# A line this much below the loudest may be the transform's own: its turns have 11 bits.
DYNAMIC_CDB = const(6000)

# A hiss this much below a tone's level cannot be told from what the tone does to the converter.
MASKING_CDB = const(4000)


class Rise:
    """Compares a meter with a background over the last SEGMENTS updates.

    rise_cdb: the band's rise over a second, dB * 100, without steady lines. look_cdb: the same over LOOK_UPDATES.
    recent: the band's levels.
    guard_cdb: how far it must be above the threshold where lines were left out.
    tones: what was found beside it.
    """

    def __init__(self, meter: HissMeter, background: Background) -> None:
        self.meter = meter
        self.background = background
        self.rise_cdb = self.look_cdb = self.guard_cdb = 0
        self.tones = Tones()
        self.recent = Recent()
        self._pairs = array.array("h", [0] * (PAIRS * hiss_meter.SEGMENTS))
        self._ratios = array.array("i", [0] * BAND_BINS)
        self._place = 0

    def restart(self) -> None:
        """Forget the updates so far."""
        self.recent.restart()

    def add(self) -> None:
        """Take the meter's last update in."""
        meter = self.meter
        self.recent.add(meter.level_cdb)
        self._place = (self._place + 1) % hiss_meter.SEGMENTS
        for pair in range(PAIRS):
            self._pairs[self._place * PAIRS + pair] = meter.pair_levels[pair]
        before_cdb = self.background.unrest.level_cdb
        self.rise_cdb = self.recent.mean(hiss_meter.SEGMENTS) - before_cdb
        self.look_cdb = self.recent.mean(LOOK_UPDATES) - before_cdb
        self.tones.clear()
        self.guard_cdb = 0
        if meter.ready:
            self._find_lines()
            self._find_narrow()
            if self._lines_in_band():
                self.guard_cdb = LINES_GUARD_CDB
                without_cdb = self._rise_without_lines()
                self.rise_cdb = min(self.rise_cdb, without_cdb)
                self.look_cdb = min(self.look_cdb, without_cdb)

    def stands_out(self) -> bool:
        """Whether the look's mean is above the background by more than chance, and its lines, make it."""
        unrest = self.background.unrest
        return self.look_cdb >= unrest.threshold_of(self.recent.count) + self.guard_cdb

    def steady(self) -> bool:
        """Whether the last second's updates lie within the range that chance and the background leave them."""
        return self.recent.steady(self.background.unrest.range_cdb)

    def lasting(self) -> bool:
        """Whether at most one of the last second's updates lies at or below the background."""
        return self.recent.lasting(self.background.unrest.level_cdb)

    def _find_lines(self) -> None:
        meter = self.meter
        loudest_cdb = level.FLOOR_CDB
        for n in range(meter.line_count):
            loudest_cdb = max(loudest_cdb, meter.line_cdb(n))
        for n in range(meter.line_count):
            level_cdb = meter.line_cdb(n)
            if level_cdb < loudest_cdb - DYNAMIC_CDB:
                continue
            if not self.background.has_line(meter.line_bins[n], level_cdb, SAME_LINE_CDB):
                self.tones.add(meter.line_hz(n), level_cdb)

    def _find_narrow(self) -> None:
        """Find pairs of sub-bands that rise far more than those beside them, and mask their bins."""
        for pair in range(PAIRS):
            own = self._pair_rise_cdb(pair)
            if own >= NARROW_CDB and own - self._beside_cdb(pair) >= NARROW_CDB:
                first = spectrum.BAND_FIRST + pair * spectrum.BAND_BINS
                self._name_highest(first, 2 * spectrum.BAND_BINS)
                self._mask(first - spectrum.BAND_BINS, 4 * spectrum.BAND_BINS)

    def _beside_cdb(self, pair: int) -> int:
        """The higher rise of the pairs below and above, with one sub-band between."""
        if pair < _BESIDE:
            return self._pair_rise_cdb(pair + _BESIDE)
        below = self._pair_rise_cdb(pair - _BESIDE)
        return below if pair + _BESIDE >= PAIRS else max(below, self._pair_rise_cdb(pair + _BESIDE))

    def _mask(self, first: int, bins: int) -> None:
        for k in range(max(first, 0), min(first + bins, spectrum.BINS)):
            self.meter.mask[k] = 1

    def _pair_rise_cdb(self, pair: int) -> int:
        total = 0
        for k in range(hiss_meter.SEGMENTS):
            total += self._pairs[k * PAIRS + pair]
        return total // hiss_meter.SEGMENTS - self.background.pair_level_cdb(pair)

    def _lines_in_band(self) -> bool:
        first = self.meter.first_bin
        for k in range(first, first + BAND_BINS):
            if self.meter.mask[k] and not self.background.mask[k]:
                return True
        return False

    def _rise_without_lines(self) -> int:
        """The rise of the band's bins that are free of lines, now and in the background; 0 where no bin is."""
        meter = self.meter
        background = self.background
        background.add_mask(meter.mask)
        first = meter.first_bin
        now = lines.left(meter.totals, background.both, first, first + BAND_BINS - 1)
        before = lines.left(background.totals, background.both, first, first + BAND_BINS - 1)
        if not now or not before:
            return 0
        return level.power_cdb(now) - level.power_cdb(before) - background.drift_cdb()

    def drowned(self) -> bool:
        """Whether a tone is so loud that the converter's steps and the window's skirts may have made the rise."""
        level_cdb = self.background.unrest.level_cdb + self.rise_cdb
        return self.tones.count > 0 and self.tones.loudest_cdb() - level_cdb > MASKING_CDB

    def is_flat(self) -> bool:
        """Whether the band rises like a hiss; where it does not, the highest bin joins the tones."""
        if self.flatness_cdb() >= FLATNESS_CDB:
            return True
        self._name_highest(self.meter.first_bin, BAND_BINS)
        return False

    def flatness_cdb(self) -> int:
        """Return the spectral flatness of the band's rise: geometric over arithmetic mean, dB * 100."""
        first = self.meter.first_bin
        lines.ratios(self.meter.totals, self.background.totals, self._ratios, first, first + BAND_BINS - 1)
        logs = total = count = 0
        for k in range(BAND_BINS):
            if not self.meter.mask[first + k]:
                logs += level.power_cdb(max(self._ratios[k], 1))
                total += self._ratios[k]
                count += 1
        if count == 0:
            return FLATNESS_CDB - 1
        return logs // count - level.power_cdb(total // count)

    def _name_highest(self, first: int, bins: int) -> None:
        """Add the bin of first..first + bins - 1 that rose most to the tones, unless a line was found near it."""
        meter = self.meter
        best = first
        for k in range(first, first + bins):
            if meter.logs[k] - self.background.logs[k] > meter.logs[best] - self.background.logs[best]:
                best = k
        frequency_hz = meter.bin_hz(best)
        if self.tones.near(frequency_hz, _NAMED_HZ) < 0:
            self.tones.add(frequency_hz, meter.bin_cdb(best))
