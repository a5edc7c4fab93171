"""One sound's numbers, from the ring of recent baseband values: integers only, and nothing allocated."""

import array

from micropython import const

from .dsp import baseband, burst, spectrum

_REGION = const(512)
_LEAD = const(32)
_TAIL = const(56)
_SEARCH_LEAD = const(48)
_SEARCH = const(128)
_LONG_HALF = const(200)

# Lengths of the coherent stretches that are tried, in baseband values of 16 us: 0.16 to 1.28 ms.
_SPANS = (10, 16, 26, 42, 80)
_WIDEST = const(80)
_STEPS_EACH_SIDE = const(3)

# A sound this far above the noise per value needs no search over spans, and less smoothing of its envelope.
_CLEAR_CDB = const(3000)
_SMOOTH_5_CDB = const(2400)
_SMOOTH_3_CDB = const(3400)

# What is kept of a long sound's peak.
_KEPT = ("peak_us", "level_cdb", "frequency_hz", "sweep_hz", "evidence_cdb", "ringdown_us")

# 1000 log10 of: the squared gain of a coherent sum per value; a full-scale magnitude squared; and the noise power per
# value over a quartile floor, which is 3.476 * 64 / 6 / 256.
_TURN_GAIN_CDB = const(2401)
_FULL_SCALE_CDB = const(8343)
_FLOOR_TO_NOISE_CDB = const(-839)

# 1000 log10 of the smoothed power of a full-scale sine, (1/2) / (1 - 3/4) times 14844 squared; and of what turns a
# smoothed power over its bin's quartile floor into one over its mean in noise, 256 / 3.476 / 2.
CREST_TO_DBFS_CDB = const(-8644)
_FLOOR_TO_SMOOTH_CDB = const(1566)

# The middle of the band, 30 to 80 kHz.
_MIDDLE_HZ = const(55000)

# Baseband value n is centred on sample 4 n - 7.
_DELAY_US = const(28)


def cdb(power):
    """Return 1000 log10(power) for an integer power of 1 to 2**31 - 1, to 0.3; hundredths of a dB."""
    return burst.log2_q10(power) * 30103 // 102400


def loss_cdb(frequency_hz):
    """Return the filter's loss at a frequency, in hundredths of a dB, between the table's kHz lines."""
    k = (frequency_hz - baseband.LOSS_FIRST_HZ) // 1000
    if k < 0:
        return baseband.LOSS_CDB[0]
    if k >= len(baseband.LOSS_CDB) - 1:
        return baseband.LOSS_CDB[-1]
    low = baseband.LOSS_CDB[k]
    part = frequency_hz - baseband.LOSS_FIRST_HZ - 1000 * k
    return low + (baseband.LOSS_CDB[k + 1] - low) * part // 1000


def shift_for(part, span):
    """Return the shift that takes a coherent sum over `span` values with parts up to `part` below 2**14."""
    top = part * span * 23
    shift = 0
    while top >> shift >= 16384:
        shift += 1
    return shift


class Measurer:
    """Measures one sound after another; its buffers are made once.

    After `measure`: peak_us (time of the peak), and time_us, level_cdb, frequency_hz, sweep_hz, length_us, ringdown_us,
    evidence_cdb as in Sounds.
    """

    def __init__(self):
        self.values = array.array("H", [32768] * (2 * _REGION))
        self.sums = array.array("i", [0] * (2 * _REGION + 2))
        self.power = array.array("i", [0] * _REGION)
        self.out = array.array("i", [0] * 8)
        self.turn = burst.turn_table()
        self.third = array.array("i", [0] * 3)
        self.outlined = False
        self.kept = array.array("i", [0] * len(_KEPT))
        self.kept_frame = -1
        self.peak_us = 0
        self.time_us = 0
        self.level_cdb = 0
        self.frequency_hz = 0
        self.sweep_hz = 0
        self.length_us = 0
        self.ringdown_us = 0
        self.evidence_cdb = 0

    def measure(self, ring, found, at, floor, newest):
        """Measure the sound in words at.. of `found` (floor.segment's form).

        ring: the baseband ring. floor: 13 words, Q8, from floor.follow.
        newest: how many values were written so far.
        """
        first_frame = found[at]
        frames = found[at + 1] - first_frame
        peak = found[at + 2] * 8
        first = first_frame * 8 - 8 - _LEAD
        count = frames * 8 + 16 + _LEAD + _TAIL
        is_long = count > _REGION
        if is_long:
            first = peak - _LONG_HALF
            count = 2 * _LONG_HALF
        # Beyond the newest value the ring still holds what is 33 ms old.
        count = min(count, newest - first)
        if newest - first <= baseband.RING:
            self._look(ring, first, count, peak, floor, found[at + 3])
        else:
            self._recall(found, at, floor)
        # A burst within a long noise falls 20 dB soon after its peak; what does not is told by its frames.
        if is_long and self.ringdown_us < 0:
            self.time_us = first_frame * spectrum.FRAME_US
            self.length_us = frames * spectrum.FRAME_US

    def keep_peak(self, ring, frame, peak_bin, floor):
        """Look at the peak of a sound that goes on, before the ring loses it; `measure` recalls it at the end."""
        self._look(ring, frame * 8 - _LONG_HALF, 2 * _LONG_HALF, frame * 8, floor, peak_bin)
        self.kept_frame = frame
        for i in range(len(self.kept)):
            self.kept[i] = getattr(self, _KEPT[i])

    def _recall(self, found, at, floor):
        if self.kept_frame == found[at + 2]:
            for i in range(len(self.kept)):
                setattr(self, _KEPT[i], self.kept[i])
        else:
            self._take_peak(found, at, floor)

    def _look(self, ring, first, count, peak, floor, peak_bin):
        baseband.unroll(ring, self.values, first, count)
        self._from_values(peak - first, count, floor, peak_bin)
        self.time_us += first * 16 - _DELAY_US
        self.peak_us += first * 16 - _DELAY_US

    def _from_values(self, middle, count, floor, peak_bin):
        noise_cdb = self._noise(floor, peak_bin)
        step = self._evidence(middle, count, 4 * (peak_bin - 8), noise_cdb)
        self._outline(middle, count, step, noise_cdb)
        self._carrier(count, step)
        self.level_cdb += loss_cdb(self.frequency_hz)

    def _take_peak(self, found, at, floor):
        """A sound whose peak was lost unseen is told by the frame of the peak alone, its frequency to a bin."""
        self.frequency_hz = spectrum.FIRST_BIN_HZ + found[at + 3] * 15625 // 4
        self.level_cdb = cdb(found[at + 4]) + CREST_TO_DBFS_CDB + loss_cdb(self.frequency_hz)
        self.evidence_cdb = cdb(found[at + 4]) - cdb(floor[found[at + 3]]) + _FLOOR_TO_SMOOTH_CDB
        self.peak_us = found[at + 2] * spectrum.FRAME_US
        self.sweep_hz = 0
        self.ringdown_us = -1

    def _noise(self, floor, peak_bin):
        """Return the noise power per value, 1000 log10, from the floors of three neighbouring bins."""
        low = max(0, peak_bin - 1)
        high = min(spectrum.BINS - 1, peak_bin + 1)
        return cdb((floor[low] >> 2) + (floor[peak_bin] >> 1) + (floor[high] >> 2)) + _FLOOR_TO_NOISE_CDB

    def _evidence(self, middle, count, centre_step, noise_cdb):
        """Set evidence_cdb; return the frequency step (0..63) of the strongest coherent stretch."""
        start = max(0, min(middle - _SEARCH_LEAD, count - _SEARCH))
        length = min(_SEARCH, count - start)
        part = burst.loudest_part(self.values, 0, 0, count)
        shift = shift_for(part, _WIDEST)
        best = 0
        best_step = centre_step & 63
        for step in range(centre_step - _STEPS_EACH_SIDE, centre_step + _STEPS_EACH_SIDE + 1):
            burst.rotate_sums(self.values, self.turn, self.sums, count, step & 63)
            for span in _SPANS:
                tries = (length - span) // 2
                if tries > 0:
                    burst.best_stretch(self.sums, self.sums, 0, self.out, tries, span, shift, start)
                    if self.out[0] // span > best:
                        best = self.out[0] // span
                        best_step = step & 63
        self.evidence_cdb = cdb(best) + 602 * shift - noise_cdb - _TURN_GAIN_CDB
        return best_step

    def _outline(self, middle, count, step, noise_cdb):
        """Set level_cdb (without the filter's loss), time_us (in the region), length_us and ringdown_us."""
        burst.rotate_sums(self.values, self.turn, self.sums, count, step)
        span = 3
        self._shape(span, middle, count)
        above_cdb = self.level_cdb + _FULL_SCALE_CDB - noise_cdb
        if above_cdb > _SMOOTH_3_CDB:
            span = 1
        elif above_cdb < _SMOOTH_5_CDB:
            span = 7
        if span != 3:
            self._shape(span, middle, count)
        self._take_noise_off(noise_cdb, span)

    def _shape(self, span, middle, count):
        part = burst.loudest_part(self.values, 0, 0, count)
        shift = shift_for(part, span)
        n = count - span
        burst.envelope(self.sums, self.sums, 0, self.power, n, span, shift)
        first = max(0, middle - 96)
        last = min(n, middle + 96)
        out = self.out
        burst.shape(self.power, 0, 0, out, first, last, n)
        self.level_cdb = cdb(out[burst.TOP]) + 602 * shift - 2 * cdb(span) - _TURN_GAIN_CDB - _FULL_SCALE_CDB
        self.outlined = out[burst.RISE] >= 0 and out[burst.FALL] >= 0
        if out[burst.RISE] < 0:
            out[burst.RISE] = max(0, out[burst.TOP_AT] - 10) << 4
        if out[burst.FALL] < 0:
            out[burst.FALL] = min(n - 1, out[burst.TOP_AT] + 10) << 4
        # A smoothed value lies in the middle of those it is made of.
        late = 8 * (span - 1)
        out[burst.RISE] += late
        out[burst.FALL] += late
        self.time_us = out[burst.RISE]
        self.length_us = out[burst.FALL] - out[burst.RISE]
        self.peak_us = (out[burst.TOP_AT] << 4) + late
        self.ringdown_us = -1
        if out[burst.RING] >= 0:
            self.ringdown_us = out[burst.RING] - (out[burst.TOP_AT] << 4)

    def _take_noise_off(self, noise_cdb, span):
        """Correct the peak for the noise power it holds: 10 log10(1 - noise / peak), to first order."""
        above_cdb = self.level_cdb + _FULL_SCALE_CDB - noise_cdb + cdb(span)
        if above_cdb < 2500:
            ratio = 1 << 20
            below = above_cdb
            while below > 100:
                ratio = ratio * 813 >> 10
                below -= 100
            self.level_cdb -= min(300, ratio * 434 >> 20)

    def _carrier(self, count, step):
        """Set frequency_hz and sweep_hz from the phases of the three thirds of the part within 6 dB of the peak."""
        a = self.out[burst.RISE] >> 4
        b = min(self.out[burst.FALL] >> 4, a + 96)
        m = max(2, (b - a) // 3)
        if a + 3 * m > count:
            a = count - 3 * m
        for i in range(3):
            self.third[i] = self._phase(a + i * m, m)
        early = wrap(self.third[1] - self.third[0])
        late = wrap(self.third[2] - self.third[1])
        offset_hz = ((step + 32 & 63) - 32) * burst.STEP_MHZ // 1000 + (early + late) * 31250 // (65536 * m)
        # The baseband holds 62.5 kHz: what seems to lie above 86.25 kHz lies below 31.25 kHz, at the lower band edge.
        self.frequency_hz = _MIDDLE_HZ + (baseband.CENTRE_HZ - _MIDDLE_HZ + offset_hz + 31250) % 62500 - 31250
        self.sweep_hz = (late - early) * 3 * 62500 // (65536 * m)

    def _phase(self, at, m):
        re = self.sums[2 * (at + m)] - self.sums[2 * at]
        im = self.sums[2 * (at + m) + 1] - self.sums[2 * at + 1]
        while not (-8388608 < re < 8388608 and -8388608 < im < 8388608):
            re >>= 1
            im >>= 1
        return burst.angle(im, re)


def wrap(turns_q16):
    """Return an angle difference in 1/65536 turns brought into -32768..32767."""
    return ((turns_q16 + 32768) & 65535) - 32768
