"""One sound's numbers, from the ring of recent baseband values: integers only, and nothing allocated."""

import array

from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper import tables
from curbtick_probe.dsp.burst import baseband, closeup, spectrum
from curbtick_probe.dsp.burst.baseband import VALUE_US
from curbtick_probe.dsp.burst.closeup import (
    EARLY_IMAGINARY,
    EARLY_REAL,
    LATE_IMAGINARY,
    LATE_REAL,
    MIDDLE_IMAGINARY,
    MIDDLE_REAL,
)
from curbtick_probe.dsp.burst.floor import FOUND_BIN, FOUND_LAST, FOUND_PEAK_FRAME, FOUND_POWER, around
from curbtick_probe.dsp.burst.spectrum import HOP
from curbtick_probe.dsp.level import cdb, log2_of

_REGION = const(512)
# Words that a region's running sums take.
SUMS_WORDS = const(1026)
_LEAD = const(32)
_TAIL = const(56)
_SEARCH_LEAD = const(48)
_SEARCH = const(128)
# Of a long sound this much before and behind its peak: more than its start is sought in, and 2.56 ms, the longest
# ring-down in order.
_LONG_LEAD = const(112)
_LONG_TAIL = const(160)

# Lengths of the coherent stretches that are tried, in baseband values of 16 us: 0.16 to 1.28 ms.
_SPANS = b"\x0a\x10\x1a\x2a\x50\x00"

# A sound whose smoothed peak is four times this many quartile floors needs no search; and its envelope less smoothing
# from the counts on that follow. In noise the mean is 3.48, so these are 22, 26, 34 and 41 dB above it.
_CLEAR = const(200)
_SMOOTH_5 = const(1400)
_SMOOTH_3 = const(8800)
_SMOOTH_1 = const(43800)

# 1000 log10 of: the squared gain of a coherent sum per value, and of search_sums; a full-scale magnitude squared; and
# the noise power per value over a quartile floor, which is 3.476 * 64 / 6 / 256.
_TURN_GAIN_CDB = const(2401)
_SEARCH_GAIN_CDB = const(4208)
_FULL_SCALE_CDB = const(8343)
_FLOOR_TO_NOISE_CDB = const(-839)

# 1000 log10 of what turns a smoothed excess into power over a full-scale sine's: 4 times 14844 squared.
CREST_TO_DBFS_CDB = const(-8945)

# 1000 log10 of what turns a power over its bin's quartile floor into one over its mean in noise, 256 / 3.476.
_FLOOR_TO_MEAN_CDB = const(1867)

# 1000 log10 of the lengths 0 to 7 over which an envelope is smoothed (odd ones are used).
_SPAN_CDB = (0, 0, 301, 477, 602, 699, 778, 845)

# What noise 0, 1, ... 25 dB below a peak adds to it, in hundredths of a dB, to first order: 434 * 10**(-dB / 10).
_NOISE_ADDS_CDB = (
    300, 300, 274, 218, 173, 137, 109, 87, 69, 55, 43, 34, 27, 22, 17, 14, 11, 9, 7, 5, 4, 3, 3, 2, 2, 1,
)  # fmt: skip

# The lowest frequency that the baseband can tell from those above: half its rate below the band's middle, 55 kHz.
_LOWEST_HZ = const(23750)

# Baseband value n is centred on sample 4 n - 7.
_DELAY_US = const(28)


def loss_cdb(frequency_hz: int) -> int:
    """Return the filter's loss at a frequency, in hundredths of a dB."""
    return tables.at_line(baseband.LOSS_CDB, frequency_hz)


def shift_for(most: int) -> int:
    """Return the shift that takes an integer of at most `most` below 2**14."""
    return max(0, (log2_of(most) >> 10) - 13)


class Measurer:
    """Measures one sound after another; its buffers are made once.

    After `measure`:
    time_us, level_cdb, frequency_hz, sweep_hz, length_us, ringdown_us, evidence_cdb: as in Sounds.
    peak_us: time of the peak.
    over_noise_cdb: the level over the noise in a baseband value.
    """

    def __init__(self, values: Ints, sums: Ints) -> None:
        """values: 1024 halfwords, sums: SUMS_WORDS words, or more; both are free between two measurements."""
        self.values = values
        self.sums = sums
        self.sums_16 = array.array("H", [0] * (2 * _SEARCH + 2))
        self.power = array.array("i", [0] * _REGION)
        self.out = array.array("i", [0] * closeup.SHAPE_WORDS)
        self.third = array.array("i", [0] * closeup.THIRDS_WORDS)
        self.turn = tables.turns()
        self.peak_us = 0
        self.time_us = 0
        self.level_cdb = 0
        self.frequency_hz = 0
        self.sweep_hz = 0
        self.length_us = 0
        self.ringdown_us = 0
        self.evidence_cdb = 0
        self.over_noise_cdb = 0
        self._begin = 0
        self._end = 0

    def measure(self, ring: Ints, found: Ints, at: int, floors: Ints, newest: int) -> None:
        """Measure the sound in words at.. of `found` (floor.segment's form).

        ring: the baseband ring. floors: 13 words, Q8, from floor.follow.
        newest: how many values were written so far.
        """
        first_frame = found[at]
        frames = found[at + FOUND_LAST] - first_frame
        peak = found[at + FOUND_PEAK_FRAME] * HOP
        first = first_frame * HOP - HOP - _LEAD
        count = frames * HOP + 2 * HOP + _LEAD + _TAIL
        is_long = count > _REGION
        if is_long:
            first = peak - _LONG_LEAD
            count = _LONG_LEAD + _LONG_TAIL
        # Beyond the newest value the ring still holds what is 33 ms old.
        count = min(count, newest - first)
        lost = newest - first > baseband.RING
        if lost:
            first = found[at + FOUND_LAST] * HOP - count
            peak = first + _LONG_LEAD
        self._begin = first_frame * HOP - first
        self._end = (found[at + FOUND_LAST] + 1) * HOP - first
        part = baseband.unroll(ring, 0, self.values, first, count)
        self._from_values(part, peak - first, count, around(floors, found[at + FOUND_BIN]), found, at)
        self.time_us += first * VALUE_US - _DELAY_US
        self.peak_us += first * VALUE_US - _DELAY_US
        if lost:
            self._take_peak(found, at, floors)
        # A burst within a long noise falls 20 dB soon after its peak; what does not is told by its frames.
        if is_long and self.ringdown_us < 0:
            self.time_us = first_frame * spectrum.FRAME_US
            self.length_us = frames * spectrum.FRAME_US

    def _from_values(self, part: int, middle: int, count: int, quiet: int, found: Ints, at: int) -> None:
        """Set all but times from the values; their loudest part, the peak's place and the quartile floor are known."""
        noise_cdb = cdb(quiet) + _FLOOR_TO_NOISE_CDB
        ratio = found[at + FOUND_POWER] // max(1, quiet >> 8)
        centre_step = 4 * (found[at + FOUND_BIN] - spectrum.CENTRE_BIN)
        if ratio < _CLEAR:
            step = self._search(part, middle, count, centre_step, noise_cdb)
        else:
            step = self._step_near(middle, count, centre_step)
        closeup.rotate_sums(self.values, 0, self.sums, self.turn, 0, count, step)
        self._outline(part, middle, count, ratio, noise_cdb)
        energy_cdb = self._carrier(part, count, step)
        if ratio >= _CLEAR:
            self.evidence_cdb = energy_cdb - noise_cdb
        self.level_cdb += loss_cdb(self.frequency_hz)

    def _take_peak(self, found: Ints, at: int, floors: Ints) -> None:
        """Take the level of a long sound whose peak the ring has lost from the peak's frame."""
        self.level_cdb = cdb(found[at + FOUND_POWER]) - _FULL_SCALE_CDB + loss_cdb(self.frequency_hz)
        self.evidence_cdb = (
            cdb(found[at + FOUND_POWER]) - cdb(floors[found[at + FOUND_BIN]]) + _FLOOR_TO_MEAN_CDB
        )
        self.peak_us = found[at + FOUND_PEAK_FRAME] * spectrum.FRAME_US
        self.ringdown_us = -1

    def _search(self, part: int, middle: int, count: int, centre_step: int, noise_cdb: int) -> int:
        """Set evidence_cdb; return the frequency step (0..63) of the strongest coherent stretch."""
        start = max(0, min(middle - _SEARCH_LEAD, count - _SEARCH))
        length = min(_SEARCH, count - start)
        shift = shift_for(part * _SEARCH * 91)
        out = self.out
        closeup.search(
            self.values, 0, self.sums_16, self.turn, _SPANS, out, start, length, centre_step, shift
        )
        self.evidence_cdb = cdb(out[closeup.BEST]) + 602 * shift - noise_cdb - _SEARCH_GAIN_CDB
        return out[closeup.BEST_STEP] & 63

    def _step_near(self, middle: int, count: int, centre_step: int) -> int:
        """Return the frequency step of a clear sound from the phase it gains in 8 values about its peak's frame."""
        start = max(0, min(middle - 16, count - 24))
        closeup.rotate_sums(self.values, 0, self.sums, self.turn, start, 24, centre_step & 63)
        third = self.third
        closeup.thirds(self.sums, third, 0, 8, 8)
        gained = closeup.angle(third[MIDDLE_IMAGINARY], third[MIDDLE_REAL])
        early = third[EARLY_REAL] * third[EARLY_REAL] + third[EARLY_IMAGINARY] * third[EARLY_IMAGINARY]
        late = third[LATE_REAL] * third[LATE_REAL] + third[LATE_IMAGINARY] * third[LATE_IMAGINARY]
        if early > late:
            gained -= closeup.angle(third[EARLY_IMAGINARY], third[EARLY_REAL])
        else:
            gained = closeup.angle(third[LATE_IMAGINARY], third[LATE_REAL]) - gained
        return (centre_step + ((wrap(gained) + 4096) >> 13)) & 63

    def _outline(self, part: int, middle: int, count: int, ratio: int, noise_cdb: int) -> None:
        """Set level_cdb (without the filter's loss), time_us (in the region), length_us and ringdown_us."""
        span = 7
        if ratio >= _SMOOTH_1:
            span = 1
        elif ratio >= _SMOOTH_3:
            span = 3
        elif ratio >= _SMOOTH_5:
            span = 5
        n = count - span
        shift = shift_for(part * span * 23)
        closeup.envelope(self.sums, 0, self.power, n, span, shift)
        out = self.out
        closeup.shape(self.power, 0, out, max(0, middle - 96), min(n, middle + 96), n)
        top_at = out[closeup.TOP_AT]
        above_cdb = cdb(out[closeup.TOP]) + 602 * shift - _SPAN_CDB[span] - _TURN_GAIN_CDB - noise_cdb
        self.over_noise_cdb = above_cdb - _SPAN_CDB[span]
        self.level_cdb = self.over_noise_cdb + noise_cdb - _FULL_SCALE_CDB - noise_added_cdb(above_cdb)
        # What lasts beyond the region begins and ends with its frames.
        if out[closeup.RISE] < 0:
            out[closeup.RISE] = min(self._begin, top_at) << 4
        if out[closeup.FALL] < 0:
            out[closeup.FALL] = max(self._end, top_at + 1) << 4
        self.time_us = out[closeup.RISE] + 8 * (span - 1)
        self.length_us = out[closeup.FALL] - out[closeup.RISE]
        self.peak_us = (top_at << 4) + 8 * (span - 1)
        self.ringdown_us = out[closeup.RING] - (top_at << 4) if out[closeup.RING] >= 0 else -1

    def _carrier(self, part: int, count: int, step: int) -> int:
        """Set frequency_hz and sweep_hz from the phases of the three thirds of the part within 6 dB of the peak.

        Return the energy of these thirds, 1000 log10.
        """
        a = max(0, self.out[closeup.RISE] >> 4)
        b = min(self.out[closeup.FALL] >> 4, a + 96)
        # Values at the ends of a long burst hold its edges, whose phases differ.
        edge = min(3, b - a >> 4)
        a += edge
        m = max(2, (b - edge - a) // 3)
        if a + 3 * m > count:
            a = count - 3 * m
        third = self.third
        shift = shift_for(part * m * 23)
        closeup.thirds(self.sums, third, a, m, shift)
        middle = closeup.angle(third[MIDDLE_IMAGINARY], third[MIDDLE_REAL])
        early = wrap(middle - closeup.angle(third[EARLY_IMAGINARY], third[EARLY_REAL]))
        late = wrap(closeup.angle(third[LATE_IMAGINARY], third[LATE_REAL]) - middle)
        # Phases are in 1/65536 of a turn, 2 m values of 16 us apart; products stay small integers.
        turned_hz = ((early + late) * 15625 + 16384 * m) // (32768 * m)
        offset_hz = (((step + 32 & 63) - 32) * closeup.STEP_MHZ + 500) // 1000 + turned_hz
        # The baseband holds 62.5 kHz: what seems to lie above 86.25 kHz lies below 31.25 kHz, at the lower band edge.
        above_hz = baseband.CENTRE_HZ + offset_hz - _LOWEST_HZ
        self.frequency_hz = _LOWEST_HZ + above_hz % baseband.VALUE_RATE_HZ
        self.sweep_hz = (late - early) * 2930 // (1024 * m)
        return cdb(third[closeup.THIRDS_ENERGY] // m) + 602 * shift - _TURN_GAIN_CDB


def noise_added_cdb(above_cdb: int) -> int:
    """Return what noise so far below a peak has added to its level."""
    if above_cdb >= 2500:
        return 0
    if above_cdb < 0:
        return _NOISE_ADDS_CDB[0]
    k = above_cdb // 100
    return _NOISE_ADDS_CDB[k] + (_NOISE_ADDS_CDB[k + 1] - _NOISE_ADDS_CDB[k]) * (above_cdb - 100 * k) // 100


def wrap(turns_q16: int) -> int:
    """Return an angle difference in 1/65536 turns brought into -32768..32767."""
    return ((turns_q16 + 32768) & 65535) - 32768
