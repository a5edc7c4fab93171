"""The background of the hiss check: the quietest band, its level and unrest, its lines, and the threshold of a rise."""

import array

from micropython import const

from curbtick_probe import hiss_meter
from curbtick_probe.dsp import hiss_spectrum

UPDATES_MAX = const(40)

# Standard deviation of one update's band level in stationary noise, dB * 100: 16 blocks, 20.8 independent bins in two
# halves, Huber's estimate at one standard deviation having 0.9 of a mean's efficiency: 434 / sqrt(16 * 41.7 * 0.9).
STATIONARY_CDB = const(18)

# One false alarm in 1000 and one miss in 20, normal law, in hundredths.
_ALARM_C = const(309)
_MISS_C = const(164)

# Unrest beyond chance: the variance of so many updates is above so many tenths of its expectation once in 1000
# (chi-square over its degrees of freedom; entries from many updates to few).
_UNREST = ((40, 18), (20, 23), (15, 26), (10, 31), (7, 37), (5, 46), (3, 69))

# Where the background wanders, its fifths of a second are taken as wholly dependent within a second: so many updates
# hold so few independent seconds n. Student's t with n - 1 degrees, one in 100, times sqrt(1 + 1 / n), in hundredths.
# The false-alarm rate stated there is one in 100 seconds.
_WANDER_C = ((40, 318), (20, 508), (15, 804), (0, 3897))

# A rise that can't be told below this is no basis for "quiet".
DECIDE_CDB = const(300)


class Background:
    """Learned by `survey` and `learn`, in use after `settle`.

    threshold_cdb: the rise that counts. range_cdb: how far apart the updates of one second may lie. decides: whether
    the background is calm enough to say "quiet". stationary: the false-alarm rate is one in 1000, else one in 100.
    """

    def __init__(self):
        self._surveyed = array.array("i", [0] * hiss_meter.STARTS)
        self._levels = array.array("h", [0] * UPDATES_MAX)
        self._sub_sums = array.array("i", [0] * hiss_spectrum.BANDS)
        self.count = 0
        self.totals = array.array("i", [0] * hiss_spectrum.SUMS)
        self.logs = array.array("i", [0] * hiss_spectrum.BINS)
        self.mask = bytearray(hiss_spectrum.BINS)
        self.both = bytearray(hiss_spectrum.BINS)
        self._lines = []
        self.threshold_cdb = self.range_cdb = 0
        self.decides = self.stationary = False

    def survey(self, meter):
        """Add one update to the levels of every band."""
        for start in range(hiss_meter.STARTS):
            self._surveyed[start] += meter.band_level_cdb(start)

    def quietest(self):
        """Return the sub-band where the quietest band starts; the highest of equals."""
        best = 0
        for start in range(hiss_meter.STARTS):
            if self._surveyed[start] <= self._surveyed[best]:
                best = start
        return best

    def learn(self, meter):
        """Add one update in the chosen band, of which the first UPDATES_MAX count."""
        if self.count == UPDATES_MAX:
            return
        self._levels[self.count] = meter.level_cdb
        self.count += 1
        for sub in range(hiss_spectrum.BANDS):
            self._sub_sums[sub] += meter.sub_levels[sub]

    def sub_level_cdb(self, sub):
        """Return the mean level of a sub-band, dBFS * 100."""
        return self._sub_sums[sub] // self.count

    def level_cdb(self):
        """Return the mean level, dBFS * 100."""
        total = 0
        for k in range(self.count):
            total += self._levels[k]
        return total // self.count if self.count else 0

    def variance(self):
        """Return the variance of the updates' levels, (dB * 100)**2."""
        mean = self.level_cdb()
        total = 0
        for k in range(self.count):
            total += (self._levels[k] - mean) ** 2
        return total // max(self.count - 1, 1)

    def settle(self, meter, rise_cdb):
        """Fix thresholds and keep the averaged spectrum and its lines. rise_cdb: the limit set's rise to be found."""
        self._fix_threshold(rise_cdb)
        self.totals[:] = meter.totals
        self.logs[:] = meter.logs
        self.mask[:] = meter.mask
        self._lines = [(meter.line_bins[n], meter.line_cdb(n)) for n in range(meter.line_count)]

    def _fix_threshold(self, rise_cdb):
        variance = self.variance()
        expected = STATIONARY_CDB * STATIONARY_CDB
        self.stationary = variance * 10 <= expected * _entry(_UNREST, self.count)
        second_cdb10 = _root(expected * 100 // hiss_meter.SEGMENTS + expected * 100 // self.count)
        least = _ALARM_C * second_cdb10 // 1000
        sure = rise_cdb - _MISS_C * second_cdb10 // 1000
        self.threshold_cdb = max(least, sure)
        spread_cdb = STATIONARY_CDB
        if not self.stationary:
            spread_cdb = _root(variance)
            self.threshold_cdb = max(self.threshold_cdb, _entry(_WANDER_C, self.count) * spread_cdb // 100)
        self.range_cdb = 8 * max(spread_cdb, STATIONARY_CDB)
        self.decides = self.threshold_cdb + _MISS_C * spread_cdb // 100 <= DECIDE_CDB

    def has_line(self, line_bin, level_cdb, more_cdb):
        """Whether the background has a line within two bins, at most more_cdb below."""
        for known_bin, known_cdb in self._lines:
            if abs(known_bin - line_bin) <= 2 and level_cdb <= known_cdb + more_cdb:
                return True
        return False

    def add_mask(self, mask):
        """Make `both`: the bins with lines in the background or in `mask`."""
        for k in range(hiss_spectrum.BINS):
            self.both[k] = self.mask[k] | mask[k]


def _entry(table, count):
    """Return the value of a table's first row whose number is not above count; of its last row else."""
    for least, value in table:
        if count >= least:
            return value
    return table[-1][1]


def _root(value):
    """Integer square root, rounded down. value: at least 0."""
    root = value
    step = (root + 1) // 2
    while step < root:
        root = step
        step = (root + value // root) // 2
    return root
