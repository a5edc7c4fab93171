"""The tone meter of the seal check: one level, and what may be said of it, every 196.6 ms. Knows no limits."""

import array

from curbtick_wire import sampling
from curbtick_wire.sampling import TONE_HIGHEST_HZ, TONE_LOWEST_HZ, TONE_STEP_HZ
from micropython import const

from curbtick_probe import updates
from curbtick_probe.dsp import extent, fft, level
from curbtick_probe.dsp.tone import cells as tone_cells
from curbtick_probe.dsp.tone import mix
from curbtick_probe.hardware import Blocks

# The source may stand 0.5 % off; once its frequency is known, a walking probe shifts it by at most 5 Hz (0.086 m/s).
TRACK_UHZ = const(5000000)

# A full-scale tone in the middle of a cell, as 1000 log10 of its power: 2 * 1000 * log10(524160 * 176).
FULL_SCALE_CDB = const(15930)

# The threshold over the mean noise, Q5, at Pfa 1e-3 an update: a level u is crossed within a span of f hertz with
# probability exp(-u) (1 + 2 sqrt(pi u) T f), T = 0.0509 s being the rms duration of the taper (level-crossing rate of a
# Rayleigh envelope, S. O. Rice 1944-45, with time and frequency exchanged); then the mean of n cells in place of the
# noise's true level: n (exp(u / n) - 1). The span is 10 Hz when tracking, else 1 % of the tone.
TRACK_THRESHOLD_Q5 = const(296)
SEARCH_10_THRESHOLD_Q5 = const(376)
SEARCH_20_THRESHOLD_Q5 = const(408)

# Cells between the searched ones and the ones the noise is taken from.
_GUARD_CELLS = const(6)
# Further from a pure tone than the first of these, no cell reaches a 100th of its peak (first side lobes of the taper).
_LOBE_CELLS = const(11)
_NEIGHBOURHOOD = const(40)
_NOISE_PASSES = const(8)

# The decimation passes the cells beside the tone 2 % weaker than those around it: a 49th more makes it good.
_DROOP = const(49)


def cells_of(span_uhz: int) -> int:
    """Return how many cells lie within a span (at most 330 Hz, given in uHz) on one side."""
    return (span_uhz + tone_cells.CELL_UHZ - 1) // tone_cells.CELL_UHZ


class ToneMeter:
    """Listens for one tone on a running capture. All buffers are made once, an update allocates nothing.

    After `update`:
    level_cdb: of the tone, dBFS of the input in hundredths. noise_cdb: of the noise in one cell of 5.4 Hz, likewise.
    snr_cdb: the level above the noise.
    measured_hz: the tone's frequency. offset_uhz: the same less the nominal one, in millionths of a hertz.
    pure: whether the peak is a single line. heard: whether it is also above the threshold.
    clipped, dead: the samples cannot be trusted.
    blanked_permille: values left out as bursts or knocks.
    """

    def __init__(self, capture: Blocks, tone_hz: int) -> None:
        """tone_hz: 10000 to 20000 in steps of 100. Raises ValueError for another."""
        if not TONE_LOWEST_HZ <= tone_hz <= TONE_HIGHEST_HZ or tone_hz % TONE_STEP_HZ:
            raise ValueError("a tone of 10000 to 20000 Hz in steps of 100 Hz")
        self.capture = capture
        self.tone_hz = tone_hz
        self._table = mix.oscillator()
        self._taps = mix.taps()
        self._line = mix.line()
        self._ramp = array.array("i", [mix.RAMP_ZERO] * 2)
        self._coarse = array.array("i", [0] * (2 * mix.COARSE))
        self._fine = array.array("i", [fft.BIAS] * (2 * tone_cells.SPAN))
        self._turns = fft.turns()
        self._order = fft.order()
        self._taper = tone_cells.taper(self._turns)
        self._buffer = array.array("i", [0] * fft.WORDS)
        self._cells = array.array("i", [0] * tone_cells.CELLS)
        self._extent = array.array("i", [0] * extent.WORDS)
        self._phase = 0
        self.restart()

    def restart(self) -> None:
        """Forget what was heard, and search again."""
        self.search()
        self._clear()

    def _clear(self) -> None:
        self.level_cdb = self.noise_cdb = level.FLOOR_CDB
        self.snr_cdb = 0
        self.measured_hz = self.offset_uhz = 0
        self.heard = self.clipped = self.dead = False
        self.pure = True
        self.blanked_permille = 0

    def search(self) -> None:
        """Look for the tone within 0.5 % of its nominal frequency."""
        span = cells_of(self.tone_hz * 5000)
        self._first = tone_cells.REACH - span
        self._last = tone_cells.REACH + span
        above_hz = self.tone_hz - TONE_LOWEST_HZ
        more_q5 = SEARCH_20_THRESHOLD_Q5 - SEARCH_10_THRESHOLD_Q5
        self._threshold_q5 = SEARCH_10_THRESHOLD_Q5 + more_q5 * above_hz // (TONE_HIGHEST_HZ - TONE_LOWEST_HZ)

    def track(self, offset_uhz: int) -> None:
        """Look for the tone within 5 Hz of nominal + offset_uhz only."""
        centre = tone_cells.REACH + (offset_uhz + tone_cells.CELL_UHZ // 2) // tone_cells.CELL_UHZ
        span = cells_of(TRACK_UHZ)
        self._first = max(centre - span, 2)
        self._last = min(centre + span, tone_cells.CELLS - 3)
        self._threshold_q5 = TRACK_THRESHOLD_Q5

    def settle(self) -> None:
        """Fill the filters again after a change of input; the next update is then of the new input alone."""
        for _ in range(5):
            self._take(0)

    def update(self) -> None:
        """Listen for updates.UPDATE_US and measure."""
        seen = self._extent
        seen[extent.LOWEST] = sampling.HIGHEST_CODE
        seen[extent.HIGHEST] = seen[extent.STOPS] = 0
        self._line[mix.BLANKED] = 0
        for n in range(updates.BLOCKS):
            self._take(n * mix.FINE)
        self.blanked_permille = self._line[mix.BLANKED] * 1000 // (updates.BLOCKS * mix.COARSE)
        self.clipped = seen[extent.STOPS] > extent.CLIPPED_SAMPLES
        self.dead = seen[extent.HIGHEST] - seen[extent.LOWEST] < extent.DEAD_CODES
        self._measure(self._spectrum())

    def _take(self, at: int) -> None:
        block = self.capture.block()
        extent.extent(block, 0, sampling.BLOCK, self._extent)
        step = self.tone_hz // TONE_STEP_HZ
        self._phase = mix.mix(block, self._table, self._phase, step, self._ramp, self._coarse)
        mix.blank(self._coarse, self._line)
        mix.decimate(self._line, self._taps, self._fine, at)

    def _spectrum(self) -> int:
        """Make the cells' powers; return by how many bits they are reduced."""
        shift = bits_over(tone_cells.crest(self._fine, tone_cells.SPAN), sampling.HIGHEST_CODE)
        tone_cells.load(self._fine, self._buffer, self._order, self._taper, shift)
        fft.head(self._buffer)
        fft.fft(self._buffer, 0, self._turns)
        drop = bits_over(tone_cells.spread(self._buffer), 16383)
        tone_cells.powers(self._buffer, self._cells, drop)
        return shift + drop

    def _measure(self, bits: int) -> None:
        cells = self._cells
        peak = tone_cells.highest(cells, self._first, self._last)
        noise = self._noise()
        scale_cdb = 2 * bits * level.CDB_NUMERATOR // 100 - FULL_SCALE_CDB
        self.noise_cdb = level.power_cdb(noise) + scale_cdb
        self.level_cdb = level.power_cdb(max(cells[peak] - noise, 1)) + scale_cdb
        limit = noise_limit(noise, self._threshold_q5)
        self.pure = self._is_pure(peak, limit)
        # The law of the thresholds is that of the highest point between the cells, too.
        between_cdb = self._refine(peak)
        over_cdb = level.power_cdb(cells[peak]) + between_cdb - level.power_cdb(limit)
        self.heard = self.pure and over_cdb > 0
        self.snr_cdb = self.level_cdb - self.noise_cdb

    def _noise(self) -> int:
        """Return the mean power of the cells beside the searched ones, without the lines among them.

        Cells above three times the mean are left out, and the mean of what is left of an exponential law made good
        (1 - 3 exp(-3) / (1 - exp(-3)) = 0.8428), until it settles.
        """
        inner = cells_of(self.tone_hz * 5000) + _GUARD_CELLS
        cap = 0x20000000
        for _ in range(_NOISE_PASSES):
            shift = 8 if cap >> 22 else 0
            mean = tone_cells.mean_below(self._cells, inner, cap, shift) * 1215 >> 10
            cap = min(mean << shift, 0x0AAAAAAA) * 3
        noise = cap // 3
        return max(noise + noise // _DROOP, 1)

    def _is_pure(self, peak: int, limit: int) -> bool:
        """A single line: nothing beside it within 76 Hz is both above the threshold and above a 16th of it."""
        cells = self._cells
        limit = max(limit, cells[peak] >> 4)
        return not (
            self._exceeds(peak - _NEIGHBOURHOOD, peak - _LOBE_CELLS, limit)
            or self._exceeds(peak + _LOBE_CELLS, peak + _NEIGHBOURHOOD, limit)
        )

    def _exceeds(self, first: int, last: int, limit: int) -> bool:
        first = max(first, 0)
        last = min(last, tone_cells.CELLS - 1)
        return first <= last and self._cells[tone_cells.highest(self._cells, first, last)] > limit

    def _refine(self, peak: int) -> int:
        """Put a parabola through the peak's logarithm: frequency between cells, and the level there.

        Return how far its top stands above the highest cell, dB * 100.
        """
        below = level.power_cdb(self._cells[peak - 1])
        top = level.power_cdb(self._cells[peak])
        above = level.power_cdb(self._cells[peak + 1])
        bend = below - 2 * top + above
        tilt = below - above
        self.offset_uhz = (peak - tone_cells.REACH) * tone_cells.CELL_UHZ
        between_cdb = 0
        if bend < 0 and abs(tilt) <= -bend:
            self.offset_uhz += tilt * 500 // bend * (tone_cells.CELL_UHZ // 1000)
            between_cdb = -(tilt * tilt // (8 * bend))
        self.level_cdb += between_cdb
        self.measured_hz = self.tone_hz + (self.offset_uhz + 500000) // 1000000
        return between_cdb


def noise_limit(noise: int, threshold_q5: int) -> int:
    """Return noise * threshold / 32 without passing 2**30. noise: below 2**30; threshold_q5: 256..511."""
    if noise >> 20:
        return min(noise >> 5, 0x1FFFFF) * threshold_q5
    return noise * threshold_q5 >> 5


def bits_over(value: int, most: int) -> int:
    """Return by how many bits a value must be reduced to be at most `most`."""
    bits = 0
    while value >> bits > most:
        bits += 1
    return bits
