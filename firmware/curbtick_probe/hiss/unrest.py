"""How restless a background is, and the rise that it leaves to be told from chance."""

import array

from curbtick_wire._typing import Pairs
from micropython import const

from curbtick_probe.hiss.meter import SEGMENTS
from curbtick_probe.hiss.recent import LOOK_UPDATES

UPDATES_MAX = const(40)
SECONDS_MAX = const(16)

# Standard deviation of one update's band level in stationary noise, dB * 100: 16 blocks, 20.8 independent bins in two
# halves, 434 / sqrt(16 * 41.7) = 16.8, and a little for Huber's estimate.
STATIONARY_CDB = const(17)

# So many standard deviations of a look's rise (LOOK_UPDATES against the background) that the highest of the 153 looks
# of 30 s in steady noise passes them in fewer than one section of a thousand; looks share six of seven updates with the
# one before, so that this is simulated (normal updates, the background followed): 2 to 4 of 20,000. Where a background
# is a little less than steady, 20 for the 17 of STATIONARY_CDB, it is one in 500. And one miss in 20, normal law. In
# hundredths.
_ALARM_C = const(440)
_MISS_C = const(164)

# A look of fewer updates is less certain: percent of the threshold at 5, 6 and 7 of them, sqrt((1/n + 1/20) /
# (1/7 + 1/20)).
_SHORT_PERCENT = ((7, 100), (6, 106), (0, 114))

# Unrest beyond chance (chi-square over its degrees of freedom, in tenths): of so many updates, once in 1000; of the
# means of so many seconds, once in 67 while the background is taken. What is followed later is asked over and over,
# hence once in 1000 there.
_UPDATES_10 = ((40, 20), (20, 23), (15, 26), (10, 31), (7, 37), (5, 46), (3, 69))
_SECONDS_10 = ((16, 26), (14, 27), (12, 29), (10, 31), (8, 35), (7, 26), (6, 28), (5, 31), (4, 35))

# Where the background wanders, so many seconds are so many independent values at most: Student's t, one in 100, times
# sqrt(1 + 1 / n), times 2 for a level that goes on wandering since, in hundredths. Slow wandering is not always
# noticed beforehand: the false-alarm rate stated there is the bench's cautions.HISS_WANDER_ALARM_S, which
# tests/bench/hiss.py measures.
_WANDER_C = ((8, 636), (6, 727), (4, 1015), (3, 1608), (0, 7795))
# The newest four seconds say where the level is.
_NEWEST = const(20)

_DEVIATION_MOST = const(3200)

# A rise that can't be told below this is no basis for "quiet".
DECIDE_CDB = const(300)


class Unrest:
    """Keeps the newest UPDATES_MAX levels of a background, and the means of its newest SECONDS_MAX whole seconds.

    count: how many levels are kept.

    After `fix`:
    level_cdb: what a rise is measured from.
    threshold_cdb: the rise that counts, of a look of LOOK_UPDATES.
    spread_cdb: the standard deviation of an update, or of a second where that is more.
    range_cdb: how far apart the updates of one second may lie.
    stationary: the false-alarm rate is one in 1000 a second; else it is that of a background that wanders (_WANDER_C).
    decides: whether the background is calm enough to say "quiet".
    """

    def __init__(self) -> None:
        self._levels = array.array("h", [0] * UPDATES_MAX)
        self._seconds = array.array("h", [0] * SECONDS_MAX)
        self._added = 0
        self._next = 0
        self.count = 0
        self.level_cdb = self.threshold_cdb = self.range_cdb = self.spread_cdb = 0
        self.decides = self.stationary = False

    def add(self, level_cdb: int) -> None:
        """Add the newest update's level; the oldest goes where there is no more room."""
        self._levels[self._next] = level_cdb
        self._next = (self._next + 1) % UPDATES_MAX
        self.count = min(self.count + 1, UPDATES_MAX)
        self._added += 1
        if self._added % SEGMENTS == 0:
            self._seconds[(self._added // SEGMENTS - 1) % SECONDS_MAX] = self.mean(1, SEGMENTS)

    @property
    def seconds(self) -> int:
        """Of how many whole seconds the means are kept."""
        return min(self._added // SEGMENTS, SECONDS_MAX)

    def _at(self, age: int) -> int:
        """The level so many updates ago, 1 being the newest."""
        return self._levels[(self._next - age) % UPDATES_MAX]

    def mean(self, first: int, last: int) -> int:
        """Return the mean of the levels from `first` updates ago to `last` ago, first < last."""
        total = 0
        for age in range(first, last + 1):
            total += self._at(age)
        return total // (last - first + 1)

    def variance(self) -> int:
        """Return the variance of all levels, (dB * 100)**2."""
        mean = self.mean(1, self.count)
        total = 0
        for age in range(1, self.count + 1):
            total += _square(self._at(age) - mean)
        return total // max(self.count - 1, 1)

    def variance_of_seconds(self) -> int:
        """Return the variance of the means of the newest SECONDS_MAX whole seconds; 0 for fewer than two."""
        seconds = self.seconds
        if seconds < 2:
            return 0
        mean = sum(self._seconds) // seconds
        total = 0
        for n in range(seconds):
            total += _square(self._seconds[n] - mean)
        return total // (seconds - 1)

    def fix(self, rise_cdb: int) -> None:
        """Fix level and thresholds from the levels so far, at least 3. rise_cdb: the rise that shall be found."""
        variance = self.variance()
        of_seconds = self.variance_of_seconds()
        expected = STATIONARY_CDB * STATIONARY_CDB
        self.stationary = variance * 10 <= expected * entry(_UPDATES_10, self.count)
        if self.seconds >= 4:
            limit = expected * entry(_SECONDS_10, self.seconds) // SEGMENTS
            self.stationary = self.stationary and of_seconds * 10 <= limit
        self.level_cdb = self.mean(1, min(self.count, _NEWEST))
        # Half of what the background shows beyond chance, for its own estimate is as uncertain.
        self.threshold_cdb = self._chance_cdb(rise_cdb, max(expected, (expected + variance) // 2))
        self.spread_cdb = STATIONARY_CDB
        if not self.stationary:
            self.spread_cdb = root(max(variance, of_seconds))
            wander_c = entry(_WANDER_C, self.count // SEGMENTS)
            self.threshold_cdb = max(self.threshold_cdb, wander_c * self.spread_cdb // 100)
        self.range_cdb = 8 * max(self.spread_cdb, STATIONARY_CDB)
        self.decides = self.threshold_cdb + _MISS_C * self.spread_cdb // 100 <= DECIDE_CDB

    def _chance_cdb(self, rise_cdb: int, variance: int) -> int:
        """The threshold for chance alone: few false alarms, or half of the way to few misses of rise_cdb."""
        look_cdb10 = root(variance * 100 // LOOK_UPDATES + variance * 100 // min(self.count, _NEWEST))
        least = (_ALARM_C * look_cdb10 + 500) // 1000
        sure = rise_cdb - _MISS_C * look_cdb10 // 1000
        return max(least, (least + sure) // 2)

    def threshold_of(self, count: int) -> int:
        """Return the threshold for a look of so many updates, 5..LOOK_UPDATES."""
        return self.threshold_cdb * entry(_SHORT_PERCENT, count) // 100


def _square(deviation_cdb: int) -> int:
    """The square of a deviation, or that of 32 dB where it is more.

    The sum of 40, and a hundred times their mean, are small integers on a chip then, which need no heap.
    """
    limited = max(-_DEVIATION_MOST, min(_DEVIATION_MOST, deviation_cdb))
    return limited * limited


def entry(table: Pairs, count: int) -> int:
    """Return the value of a table's first row whose number is not above count; of its last row else."""
    for least, value in table:
        if count >= least:
            return value
    return table[-1][1]


def root(value: int) -> int:
    """Return the integer square root, rounded down. value: at least 0."""
    found = value
    step = (found + 1) // 2
    while step < found:
        found = step
        step = (found + value // found) // 2
    return found
