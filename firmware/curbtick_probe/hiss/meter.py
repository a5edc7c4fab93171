"""The spectrum meter of the hiss check: band energies, averaged spectra and steady lines, every 196.6 ms.

Knows no background and no limits. Every third block is analysed, which keeps the load within the budget.
"""

import array

from curbtick_wire import sampling
from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe import updates
from curbtick_probe.dsp import extent, fft, level
from curbtick_probe.dsp.hiss import lines, spectrum
from curbtick_probe.hardware import Blocks

# Every third block is analysed; a second has five segments, one for each update.
EVERY = const(3)
ANALYSED = updates.BLOCKS // EVERY
SEGMENTS = const(5)

# The band: four of the twelve sub-bands, 19.5 kHz.
BAND_SUBS = const(4)
STARTS = const(9)
PAIRS = const(11)
BAND_BINS = const(40)
SUB_HZ = const(4883)
BAND_LOW_HZ = const(20020)

# 1000 log10 of full scale in the units of the sums. A sine of 2047.5 codes has 2 * (2047.5 * 256)**2 / 2**6 in its
# highest bin (two halves, codes doubled, half the Hann weight). Noise of s codes rms gives 24 s**2 a bin (two halves,
# codes doubled, sum of hann**2 = 192) and has s**2 * 488.28 / 125000 of power in it.
TONE_SCALE_CDB = const(9934)
NOISE_SCALE_CDB = const(10110)

# Huber's estimate leaves a block's energy its weight within one standard deviation: 40 bins of a Hann window in two
# halves are 40 * 2 / 1.94 independent powers, so 15.6 %.
_WIDTH_Q8 = const(40)

# A line stands 5 dB above both its sides in the mean and exceeds its limit in 3 of 5 blocks; bursts of parking sensors
# fill at most a quarter.
LINE_CDB = const(500)
_LINE_SHARE_PERCENT = const(60)
LINES_MAX = const(8)

# The bins of 30-78 kHz, and what lines.left() takes off its sums: 64, as 1000 log10.
_FLOOR_FIRST = spectrum.BAND_FIRST + 2 * spectrum.BAND_BINS
_FLOOR_END = spectrum.BAND_FIRST + spectrum.BANDS * spectrum.BAND_BINS
_LEFT_CDB = const(1806)
_LINE_REACH = const(3)


class HissMeter:
    """Listens on a running capture. All buffers are made once.

    After `update`:
    level_cdb: the chosen band's level in this update, dBFS * 100, without impulses.
    pair_levels: the same of each pair of neighbouring sub-bands.
    line_count, line_bins: steady lines in the last second, as places among the kept bins. mask: 1 for bins near them.
    rows: the energies of the twelve sub-bands in each of the ANALYSED blocks.
    totals, logs: sums of the last second's powers, and 1000 log10 of them (curbtick_probe.dsp.hiss.spectrum).
    start_sub: the sub-band where the chosen band starts.
    segments: updates in the sums, at most SEGMENTS.
    clipped, dead: the samples cannot be trusted.
    """

    def __init__(self, capture: Blocks) -> None:
        self.capture = capture
        # The largest come first and grow in place: a chip's heap has no hole for a list as large beside each.
        self.rows = array.array("i", (0 for _ in range(spectrum.BANDS * ANALYSED)))
        self._buffer = array.array("i", (0 for _ in range(fft.WORDS)))
        self._turns = fft.turns()
        self._order = fft.order()
        self._window = spectrum.window()
        self._powers = array.array("i", [0] * spectrum.BINS)
        self._band = array.array("i", [0] * ANALYSED)
        self._sums = array.array("i", [0] * (spectrum.SUMS * SEGMENTS))
        self._limits = array.array("i", [lines.LIMIT_MOST] * spectrum.BINS)
        self._extent = array.array("i", [0] * extent.WORDS)
        self.totals = array.array("i", [0] * spectrum.SUMS)
        self.logs = array.array("i", [0] * spectrum.BINS)
        self.line_bins = array.array("i", [0] * LINES_MAX)
        self.mask = bytearray(spectrum.BINS)
        self.pair_levels = array.array("h", [0] * PAIRS)
        self.line_count = 0
        self.start_sub = 0
        self.restart()

    def restart(self) -> None:
        """Forget the segments; the next `ready` comes after SEGMENTS updates."""
        self._segment = 0
        self.segments = 0
        self.level_cdb = level.FLOOR_CDB
        self.clipped = self.dead = False

    @property
    def ready(self) -> bool:
        """Whether a full second lies behind the averaged spectrum."""
        return self.segments == SEGMENTS

    @property
    def first_bin(self) -> int:
        """The chosen band's first bin among the kept ones; it has BAND_BINS."""
        return spectrum.BAND_FIRST + self.start_sub * spectrum.BAND_BINS

    def update(self) -> None:
        """Listen for updates.UPDATE_US and measure."""
        seen = self._extent
        seen[extent.LOWEST] = sampling.HIGHEST_CODE
        seen[extent.HIGHEST] = seen[extent.STOPS] = 0
        at = self._segment * spectrum.SUMS
        spectrum.clear(self._sums, at)
        for n in range(updates.BLOCKS):
            block = self.capture.block()
            if n % EVERY == 0:
                self._analyse(block, n // EVERY, at)
        self.clipped = seen[extent.STOPS] > extent.CLIPPED_SAMPLES
        self.dead = seen[extent.HIGHEST] - seen[extent.LOWEST] < extent.DEAD_CODES
        self._segment = (self._segment + 1) % SEGMENTS
        self.segments = min(self.segments + 1, SEGMENTS)
        self.level_cdb = self.band_level_cdb(self.start_sub)
        for pair in range(PAIRS):
            self.pair_levels[pair] = self.band_level_cdb(pair, 2)
        self._average()

    def _analyse(self, block: Ints, row: int, at: int) -> None:
        extent.extent(block, 0, sampling.BLOCK, self._extent)
        spectrum.pair(block, self._buffer, self._order, self._window)
        fft.head(self._buffer)
        fft.fft(self._buffer, 0, self._turns)
        spectrum.powers(self._buffer, self._powers)
        spectrum.bands(self._powers, self.rows, row * spectrum.BANDS)
        spectrum.gather(self._powers, self._limits, self._sums, at)

    def band_level_cdb(self, start_sub: int, width: int = BAND_SUBS) -> int:
        """Return the level in this update of a band of `width` sub-bands, 1..4, from start_sub on."""
        lines.fold(self.rows, self._band, start_sub, width, ANALYSED)
        shift = 0
        for energy in self._band:
            while energy >> shift >> 22:
                shift += 1
        middle = lines.median(self._band, ANALYSED)
        centre = lines.centre(self._band, ANALYSED, middle, _WIDTH_Q8, shift)
        return level.power_cdb(centre) + shift * level.CDB_NUMERATOR // 100 - NOISE_SCALE_CDB

    def floor_cdb(self) -> int:
        """Return the level over 30-78 kHz in the last second, dBFS * 100, without lines' and bursts' peaks.

        A reading tells a live microphone by the same band of the same input; not while listening.
        """
        mask = bytearray(spectrum.BINS)
        total = 0
        for first in range(_FLOOR_FIRST, _FLOOR_END, BAND_BINS):
            total += lines.left(self.totals, mask, first, min(first + BAND_BINS, _FLOOR_END) - 1)
        scale_cdb = _LEFT_CDB - level.power_cdb(self.segments * ANALYSED) - NOISE_SCALE_CDB
        return level.power_cdb(total) + scale_cdb

    def _average(self) -> None:
        blocks = self.segments * ANALYSED
        spectrum.total(self._sums, self.totals, self.segments)
        spectrum.mantissas(self.totals, self.logs)
        level.log2_q10(self.logs, spectrum.BINS)
        spectrum.decibels(self.totals, self.logs)
        least = blocks * _LINE_SHARE_PERCENT // 100
        self.line_count = lines.peaks(self.logs, self.totals, self.line_bins, least, LINE_CDB, LINES_MAX)
        lines.limits(self.totals, self._limits, blocks)
        lines.cover(self.mask, self.line_bins, self.line_count, _LINE_REACH)

    def line_hz(self, n: int) -> int:
        """Return the frequency of line n; see bin_hz."""
        return self.bin_hz(self.line_bins[n])

    def line_cdb(self, n: int) -> int:
        """Return the level of line n; see bin_cdb."""
        return self.bin_cdb(self.line_bins[n])

    def bin_hz(self, k: int) -> int:
        """Return the frequency of a line at kept bin k, from a parabola through the logarithms; within about 30 Hz."""
        place = max(1, min(k, spectrum.BINS - 2))
        below = self.logs[place - 1]
        above = self.logs[place + 1]
        bend = below - 2 * self.logs[place] + above
        shift_permille = (below - above) * 500 // bend if bend < 0 else 0
        return ((k + spectrum.FIRST) * spectrum.BIN_MHZ + shift_permille * 488) // 1000

    def bin_cdb(self, k: int) -> int:
        """Return the level of a line at kept bin k, dBFS * 100: the power of five bins above the noise beside it.

        A Hann window spreads a line over 1.5 bins' worth of its highest one. Within 0.1 dB where nothing else is near.
        """
        bins = spectrum.BINS
        coarse = fine = 0
        for n in range(max(0, k - 2), min(k + 3, bins)):
            coarse += self.totals[spectrum.COARSE_SUMS + n] >> 2
            fine += self.totals[n] >> 3
        blocks = self.segments * ANALYSED
        noise = (self._limits[k] * blocks >> 4) * 5
        if coarse:
            coarse += (fine - noise) >> 12
            return level.power_cdb(coarse // 3 * 2) + 4515 - level.power_cdb(blocks) - TONE_SCALE_CDB
        return level.power_cdb(max(fine - noise, 1) * 2 // 3) + 903 - level.power_cdb(blocks) - TONE_SCALE_CDB
