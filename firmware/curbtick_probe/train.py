"""Sounds to trains: which sounds are one sensor's, which are siblings, echoes or neither. Knows no samples.

All sensors of a system fire in turn, so that every train of one vehicle repeats with the same interval: the held
sensor's is the loudest regular one, the others fall between its bursts at other phases.
"""

import array

from curbtick_wire import names
from micropython import const

from . import cycle
from .cycle import BURST_MOST_US, CLEAR_CDB, ECHO_US, OPEN_US, SHORTEST_US, SLACK_US, WHOLE_FROM_US
from .dsp import chain

# Sounds that are looked at together; with more, those with most evidence.
MOST = const(64)

# Evidence (1000 log10 of energy over noise density) from which a single sound counts as heard: less than one in a
# thousand readings of noise has one.
SINGLE_CDB = const(1390)


# Only something as short (BURST_MOST_US) and as pure as a burst can be one.
BURST_LEAST_US = const(60)
SWEEP_MOST_HZ = const(9000)



LONGEST_US = const(520000)
HELD_LEVEL_CDB = const(500)
FAINT_LEVEL_CDB = const(900)
FAINT_SPREAD_HZ = const(1500)
ANY_SPREAD_HZ = const(100000)
ECHO_BELOW_CDB = const(900)

# Scores: a hit counts its evidence above the candidates' threshold, and that it is on time; a miss costs.
_ON_TIME = const(800)
_MISS_COST = const(300)
_HELD_HIT = const(1000)
_HELD_MISS = const(450)
# Noise alone reaches 1100 once in a thousand readings; knocks and hiss reach further.
FAINT_SCORE = const(2000)


class Trains:
    """What one reading's sounds say. `sort` fills it; nothing is allocated.

    count: the held train's bursts; due: how many were due in the listened time. interval_us, level_cdb, frequency_hz,
    sweep_hz, burst_us: of the held train, medians over its bursts; ringdown_us (-1: not measured): their lower
    quartile. spread_cdb: between its loudest and faintest burst. rivals: burst-like sounds outside the train that are
    as loud. strays: loud sounds that are no bursts. siblings, sibling_due, sibling_interval_us, sibling_first_us: the
    same of the best train outside the held one, faint candidates included; faint_score: its score. open_question:
    whether the system may fire more often; doubtful: whether it seems to, by siblings too faint to be firm. twins:
    bursts just like the held train's that no interval explains. clear_count, repeating: clear sounds outside the held
    train, and those of them that come again at their frequency. pair_us: time between the two loudest alike bursts,
    where the loudest make no train.
    """

    def __init__(self):
        self.order = array.array("i", [0] * MOST)
        self.time_us = array.array("i", [0] * MOST)
        self.level = array.array("i", [0] * MOST)
        self.hz = array.array("i", [0] * MOST)
        self.weight = array.array("i", [0] * MOST)
        self.rules = array.array("i", [0] * chain.RULES_WORDS)
        self.best = array.array("i", [0] * chain.CHAIN_WORDS)
        self.pair = array.array("i", [0] * 2)
        self.members = array.array("i", [0] * MOST)
        self.values = array.array("i", [0] * MOST)
        self.clear()

    def clear(self):
        """Forget the last reading."""
        self.rows = 0
        self.count = 0
        self.due = 0
        self.interval_us = 0
        self.first_us = 0
        self.level_cdb = -32768
        self.frequency_hz = 0
        self.sweep_hz = 0
        self.burst_us = 0
        self.ringdown_us = -1
        self.spread_cdb = 0
        self.rivals = 0
        self.strays = 0
        self.siblings = 0
        self.sibling_due = 0
        self.sibling_interval_us = 0
        self.sibling_first_us = 0
        self.faint_score = 0
        self.loudest_cdb = -32768
        self.open_question = False
        self.mean_cdb = 0
        self.doubtful = False
        self.firm = True
        self.twins = 0
        self.pair_us = 0
        self.clear_count = 0
        self.repeating = 0

    def sort(self, sounds, listened_us):
        """Group the sounds of a reading that has listened for so long; sets the kinds of the sounds."""
        self._sort_held(sounds, listened_us, 0)
        self._find_faint(sounds, listened_us)
        self._name(sounds)
        cycle.share_that_repeats(self, sounds)

    def look(self, sounds, listened_us):
        """Sort the held train alone, among the clear sounds: cheap enough to do while listening.

        What verdict.clearly_passes asks is as `sort` would leave it.
        """
        self._sort_held(sounds, listened_us, cycle.SIBLING_CLEAR_CDB)
        self._name_held(sounds)
        self._count_rivals(sounds)

    def _sort_held(self, sounds, listened_us, least_cdb):
        self.clear()
        self._pick(sounds, least_cdb)
        self._find_held(sounds, listened_us)
        if self.count >= 2:
            self._measure(sounds)
            cycle.explain_twins(self, sounds, listened_us)
            cycle.find_quicker(self, sounds, listened_us)

    def _pick(self, sounds, least_cdb):
        """Take up to MOST sounds with the most evidence, at least so much, in time order."""
        least = max(least_cdb, self._least_evidence(sounds))
        n = 0
        for row in range(sounds.count):
            if sounds.evidence_cdb[row] >= least and n < MOST:
                k = n
                while k > 0 and sounds.time_us[self.order[k - 1]] > sounds.time_us[row]:
                    self.order[k] = self.order[k - 1]
                    k -= 1
                self.order[k] = row
                n += 1
        self.rows = n
        for k in range(n):
            row = self.order[k]
            # Kernels take times as words without a sign; a sound may seem to begin just before the reading.
            self.time_us[k] = max(0, sounds.time_us[row])
            self.level[k] = sounds.level_cdb[row]
            self.hz[k] = sounds.frequency_hz[row]

    def _least_evidence(self, sounds):
        if sounds.count <= MOST:
            return 0
        least = 0
        step = 4096
        while step:
            if self._count_above(sounds, least + step) >= MOST:
                least += step
            step >>= 1
        return least

    def _count_above(self, sounds, least):
        n = 0
        for row in range(sounds.count):
            if sounds.evidence_cdb[row] >= least:
                n += 1
        return n

    def _set_rules(self, level_cdb, spread_hz, end_us, miss_cost):
        rules = self.rules
        rules[chain.SHORTEST_US] = SHORTEST_US
        rules[chain.LONGEST_US] = LONGEST_US
        rules[chain.SLACK_US] = SLACK_US
        rules[chain.LEVEL_CDB] = level_cdb
        rules[chain.SPREAD_HZ] = spread_hz
        rules[chain.BEGIN_US] = WHOLE_FROM_US + SLACK_US
        rules[chain.END_US] = end_us - OPEN_US
        rules[chain.MISS_COST] = miss_cost

    def _find_held(self, sounds, listened_us):
        """The held train is the best chain among the clear, burst-like sounds, the loudest ones tried first."""
        self._set_rules(HELD_LEVEL_CDB, ANY_SPREAD_HZ, listened_us, _HELD_MISS)
        for k in range(self.rows):
            if self._is_candidate(sounds, k):
                self.loudest_cdb = max(self.loudest_cdb, self.level[k])
        for drop_cdb in range(800, 4801, 1000):
            for k in range(self.rows):
                loud = self.level[k] >= self.loudest_cdb - drop_cdb
                self.weight[k] = _HELD_HIT if loud and self._is_candidate(sounds, k) else 0
            self.count = 0
            self._best_chain()
            if self.count == 2 and not self.pair_us:
                self.pair_us = self.interval_us
            if self.count >= 3 and 3 * self.count >= self.due:
                return

    def _is_candidate(self, sounds, k):
        row = self.order[k]
        if self.time_us[k] < WHOLE_FROM_US:
            return False
        return sounds.evidence_cdb[row] >= CLEAR_CDB and is_burst(sounds, row)

    def _best_chain(self):
        """Set count, due, interval_us and first_us of the chain that scores best; return its score, -1 for none."""
        best = self.best
        chain.best_chain(self.time_us, 0, self.level, self.hz, self.weight, self.rules, self.rows, best)
        if best[chain.SCORE] >= 0:
            self.count = best[chain.HITS]
            self.due = best[chain.HITS] + best[chain.MISSES]
            self.first_us = best[chain.FIRST_HIT_US]
            span = best[chain.LAST_HIT_US] - self.first_us
            step = best[chain.STEP_US]
            self.interval_us = span // max(1, (span + step // 2) // step)
        return best[chain.SCORE]

    def _is_clear_burst(self, sounds, k):
        row = self.order[k]
        return sounds.evidence_cdb[row] >= SINGLE_CDB and sounds.length_us[row] <= BURST_MOST_US

    def _measure(self, sounds):
        """Collect the held train's members by their phase, whatever their level, and take medians over them."""
        slack = cycle.slack_us(self.interval_us)
        n = 0
        last_us = -LONGEST_US
        for k in range(self.rows):
            row = self.order[k]
            if cycle.slip_us(self, k, self.interval_us) <= slack and cycle.may_be_member(sounds, row):
                if self.time_us[k] - last_us > 2 * slack:
                    self.members[n] = row
                    n += 1
                elif sounds.level_cdb[row] > sounds.level_cdb[self.members[n - 1]]:
                    self.members[n - 1] = row
                last_us = self.time_us[k]
        self.level_cdb = self._median(sounds.level_cdb, n)
        n = self._keep_near_level(sounds, n)
        self.count = n
        self.due = max(self.due, n)
        self.frequency_hz = self._median(sounds.frequency_hz, n)
        self.sweep_hz = self._median(sounds.sweep_hz, n)
        self.burst_us = self._median(sounds.length_us, n)
        self.ringdown_us = self._short_ringdown(sounds, n)

    def _keep_near_level(self, sounds, n):
        """Drop members that are far fainter than the train (echoes that fall on its phase); note the spread."""
        kept = 0
        low = 32767
        high = -32768
        for i in range(n):
            row = self.members[i]
            level = sounds.level_cdb[row]
            if level > self.level_cdb - 3500:
                self.members[kept] = row
                kept += 1
                low = min(low, level)
                high = max(high, level)
        self.spread_cdb = high - low
        return kept

    def _median(self, column, n):
        values = self.values
        for i in range(n):
            self._insert(i, column[self.members[i]])
        if n & 1:
            return values[n >> 1]
        return (values[n >> 1] + values[(n >> 1) - 1]) >> 1

    def _short_ringdown(self, sounds, n):
        """Return the lower quartile of the members' ring-downs, -1 for none measured: noise makes a fall longer."""
        kept = 0
        for i in range(n):
            if sounds.ringdown_us[self.members[i]] >= 0:
                kept += 1
                self._insert(kept - 1, sounds.ringdown_us[self.members[i]])
        return self.values[kept - 1 >> 2] if kept else -1

    def _insert(self, k, value):
        """Put a value in its place among the first k of `values`, which are in order."""
        values = self.values
        while k > 0 and values[k - 1] > value:
            values[k] = values[k - 1]
            k -= 1
        values[k] = value

    def _find_faint(self, sounds, listened_us):
        """Score the best train among all that is not the held one: candidates too faint to count singly included."""
        self._set_rules(FAINT_LEVEL_CDB, FAINT_SPREAD_HZ, listened_us, _MISS_COST)
        slack = cycle.slack_us(self.interval_us)
        self.siblings = 0
        for k in range(self.rows):
            row = self.order[k]
            self.weight[k] = 0
            if sounds.length_us[row] <= BURST_MOST_US:
                if self.count < 2 or cycle.slip_us(self, k, self.interval_us) > slack:
                    self.weight[k] = _ON_TIME + min(3000, max(0, sounds.evidence_cdb[row] - 900))
        self._rate_siblings()
        if 2 * self.siblings < self.sibling_due:
            # Two siblings' bursts on one beat of which most are missing: the interval of either is longer.
            self.rules[chain.SHORTEST_US] = self.sibling_interval_us * 3 // 2
            self._rate_siblings()

    def _rate_siblings(self):
        """Note the best chain among the weighted sounds as the siblings' train; the held one stays as it is."""
        kept = self.count
        due = self.due
        interval_us = self.interval_us
        first_us = self.first_us
        self.count = 0
        self.due = 0
        self.faint_score = max(0, self._best_chain() - 2 * _ON_TIME)
        self.siblings = self.count
        self.sibling_due = self.due
        self.sibling_interval_us = self.interval_us
        self.sibling_first_us = self.first_us
        self.count = kept
        self.due = due
        self.interval_us = interval_us
        self.first_us = first_us

    def _name(self, sounds):
        """Give every sound its kind, and count rivals and strays of the held train."""
        self._name_held(sounds)
        for k in range(self.rows):
            if sounds.kind[self.order[k]] != names.HELD:
                self._name_sibling(sounds, k)
        self._count_rivals(sounds)

    def _name_held(self, sounds):
        for row in range(sounds.count):
            sounds.kind[row] = names.OTHER
        for i in range(self.count):
            sounds.kind[self.members[i]] = names.HELD

    def _name_sibling(self, sounds, k):
        row = self.order[k]
        if sounds.evidence_cdb[row] < SINGLE_CDB or sounds.length_us[row] > BURST_MOST_US:
            return
        if self.count >= 2:
            late = (self.time_us[k] - self.first_us) % self.interval_us
            if late < ECHO_US and sounds.level_cdb[row] < self.level_cdb - ECHO_BELOW_CDB:
                sounds.kind[row] = names.ECHO
                return
        if self._repeats(sounds, k):
            sounds.kind[row] = names.SIBLING

    def _repeats(self, sounds, k):
        """Tell whether another burst lies one interval of the system before or after sound k."""
        interval_us = self.interval_us if self.count >= 2 else self.sibling_interval_us
        if interval_us == 0:
            return False
        return chain.repeats(
            self.time_us,
            0,
            self.order,
            sounds.evidence_cdb,
            sounds.length_us,
            self.rows,
            k,
            interval_us,
            SLACK_US,
            SINGLE_CDB,
            BURST_MOST_US,
        )

    def _count_rivals(self, sounds):
        for row in range(sounds.count):
            whole = sounds.time_us[row] >= WHOLE_FROM_US
            if whole and sounds.kind[row] != names.HELD and sounds.evidence_cdb[row] >= CLEAR_CDB:
                if sounds.level_cdb[row] > self.level_cdb - 600:
                    if is_burst(sounds, row):
                        self.rivals += 1
                    else:
                        self.strays += 1


def is_burst(sounds, row):
    """Tell whether a clear sound is as short and as pure as a sensor's burst."""
    length_us = sounds.length_us[row]
    if length_us < BURST_LEAST_US or length_us > BURST_MOST_US:
        return False
    return abs(sounds.sweep_hz[row]) <= SWEEP_MOST_HZ
