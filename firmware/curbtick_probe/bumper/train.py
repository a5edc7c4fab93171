"""Sounds to trains: which sounds are one sensor's, which are siblings, echoes or neither. Knows no samples.

All sensors of a system fire in turn, so that every train of one vehicle repeats with the same interval: the held
sensor's is the loudest regular one, the others fall between its bursts at other phases.
"""

import array

from curbtick_wire import names
from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper.sounds import MOST, SINGLE_CDB, Beats, Sounds
from curbtick_probe.dsp.train import chain, columns

# A sound with so much evidence has a trustworthy level, sweep and length.
CLEAR_CDB = const(2300)

# Only something as short and as pure as a burst can be one.
BURST_LEAST_US = const(60)
BURST_MOST_US = const(3500)
SWEEP_MOST_HZ = const(9000)

# A burst that began before the reading is not whole, and one that began this shortly before its end may still be open.
WHOLE_FROM_US = const(600)
OPEN_US = const(5000)

# A sibling is clear from this much evidence on if it comes twice; singly, as part of a proof, from PROOF_CLEAR_CDB on.
SIBLING_CLEAR_CDB = const(1280)
PROOF_CLEAR_CDB = const(1480)

# Intervals that a system may have, and how far off its beat a burst may be, with one part in 400 of the interval more.
SHORTEST_US = const(28000)
LONGEST_US = const(520000)
SLACK_US = const(350)
HELD_LEVEL_CDB = const(500)
ANY_SPREAD_HZ = const(100000)
HELD_LEAST = const(3)
RIVAL_BELOW_CDB = const(600)

# Scores of the held train: each hit, and what a miss costs.
_HELD_HIT = const(1000)
_HELD_MISS = const(450)

# In the order of columns' words.
MARKS = (
    WHOLE_FROM_US,
    CLEAR_CDB,
    BURST_LEAST_US,
    BURST_MOST_US,
    SWEEP_MOST_HZ,
    SIBLING_CLEAR_CDB,
    SINGLE_CDB,
    PROOF_CLEAR_CDB,
)


def slack_us(interval_us: int) -> int:
    """Return how far off its beat a burst may be, in us."""
    return SLACK_US + interval_us // 400


class Trains:
    """What one reading's sounds say. `grouping.sort` fills it; nothing is allocated.

    The held train:
    count: its bursts. due: how many were due in the time listened.
    first_us, last_us: times of two of its bursts.
    interval_us, level_cdb, frequency_hz, sweep_hz, burst_us: medians over its bursts.
    ringdown_us: lower quartile of its bursts' ring-downs; -1 where none was measured. ringdown_most_us: the longest.
    spread_cdb: between its loudest and its faintest burst.
    twins: bursts just like its own that no interval explains.
    pair_us: time between the two loudest alike bursts, where they are no train and none is missing between them.

    Beside it:
    rivals: sounds like bursts, outside the train, that are as loud. strays: loud sounds that are no bursts.
    loudest_cdb: level of the loudest burst of all.
    odd_cdb: level of a train of sounds that are too long or not pure enough for bursts, where there is none of bursts;
    -32768: none.
    siblings, sibling_due, sibling_interval_us, sibling_first_us: count, due, interval_us and first_us of the best train
    outside the held one, faint candidates included. faint_score: its score. sibling_cdb: its level.
    clear_count: clear sounds outside the held train. repeating: those of them that come again at their frequency.

    The system:
    open_question: it may fire more often than the held train says.
    doubtful: it seems to, by siblings too faint to be sure. firm: no sibling asked about was that faint.
    """

    def __init__(self) -> None:
        self.flags = array.array("i", [0] * MOST)
        self.phase_us = array.array("i", [0] * MOST)
        self.weight = array.array("i", [0] * MOST)
        self.members = array.array("i", [0] * MOST)
        self.values = array.array("i", [0] * MOST)
        self.rules = array.array("i", [0] * chain.RULES_WORDS)
        self.best = array.array("i", [0] * chain.CHAIN_WORDS)
        self.marks = array.array("i", MARKS)
        self.like = array.array("i", [0] * columns.LIKE_WORDS)
        self.beats = Beats()
        self.clear()

    def clear(self) -> None:
        """Forget the last reading."""
        self.count = 0
        self.due = 0
        self.last_us = 0
        self.interval_us = 0
        self.first_us = 0
        self.level_cdb = -32768
        self.frequency_hz = 0
        self.sweep_hz = 0
        self.burst_us = 0
        self.ringdown_us = -1
        self.ringdown_most_us = -1
        self.spread_cdb = 0
        self.rivals = 0
        self.strays = 0
        self.siblings = 0
        self.sibling_due = 0
        self.sibling_interval_us = 0
        self.sibling_first_us = 0
        self.sibling_cdb = -32768
        self.faint_score = 0
        self.loudest_cdb = -32768
        self.open_question = False
        self.doubtful = False
        self.firm = True
        self.twins = 0
        self.pair_us = 0
        self.odd_cdb = -32768
        self.clear_count = 0
        self.repeating = 0

    def find_held(self, sounds: Sounds, listened_us: int) -> None:
        """Find the loudest regular train, at the interval of its own bursts."""
        self.clear()
        self.mark(sounds)
        self._find_held(sounds, listened_us)
        if self.count >= 2:
            self._measure(sounds)
        self._name_held(sounds)
        self._count_rivals(sounds)

    def mark(self, sounds: Sounds) -> None:
        """Set the flags of sounds."""
        columns.mark(
            sounds.time_us,
            sounds.evidence_cdb,
            sounds.length_us,
            sounds.sweep_hz,
            self.marks,
            self.flags,
            sounds.count,
        )

    def set_rules(self, level_cdb: int, spread_hz: int, end_us: int, miss_cost: int) -> None:
        """Set what the next chain asks of its sounds: alike in level and frequency, heard by end_us; a miss costs."""
        rules = self.rules
        rules[chain.SHORTEST_US] = SHORTEST_US
        rules[chain.LONGEST_US] = LONGEST_US
        rules[chain.SLACK_US] = SLACK_US
        rules[chain.LEVEL_CDB] = level_cdb
        rules[chain.SPREAD_HZ] = spread_hz
        rules[chain.BEGIN_US] = WHOLE_FROM_US + SLACK_US
        rules[chain.END_US] = end_us - OPEN_US
        rules[chain.MISS_COST] = miss_cost

    def _find_held(self, sounds: Sounds, listened_us: int) -> None:
        """The held train is the best chain among the clear, burst-like sounds, the loudest ones tried first."""
        self.set_rules(HELD_LEVEL_CDB, ANY_SPREAD_HZ, listened_us, _HELD_MISS)
        for k in range(sounds.count):
            if self.flags[k] & columns.BURST == columns.BURST:
                self.loudest_cdb = max(self.loudest_cdb, sounds.level_cdb[k])
        tried = 0
        for drop_cdb in range(800, 4801, 1000):
            n = self._weigh(sounds, columns.BURST, self.loudest_cdb - drop_cdb, _HELD_HIT)
            if n > tried:
                tried = n
                self.count = 0
                self.best_chain(sounds)
                if self.count == self.due == 2 and not self.pair_us:
                    self.pair_us = self.interval_us
                if self.count >= HELD_LEAST and 3 * self.count >= self.due:
                    return

    def find_odd(self, sounds: Sounds, listened_us: int) -> None:
        """Note the level of a regular train of clear sounds that are no bursts; the held train stays as it is."""
        self.set_rules(HELD_LEVEL_CDB, ANY_SPREAD_HZ, listened_us, _HELD_MISS)
        self._weigh(sounds, columns.CLEAR, -32768, _HELD_HIT)
        self._run_chain(sounds)
        hits = self.best[chain.HITS]
        if self.best[chain.SCORE] >= 0 and hits >= HELD_LEAST and 2 * hits >= self.best[chain.MISSES]:
            self.odd_cdb = self.level_at(sounds, self.best[chain.FIRST_HIT_US])

    def level_at(self, sounds: Sounds, time_us: int) -> int:
        """Return the level of the sound that began at a time."""
        level_cdb = -32768
        for row in range(sounds.count):
            if sounds.time_us[row] == time_us:
                level_cdb = max(level_cdb, sounds.level_cdb[row])
        return level_cdb

    def _weigh(self, sounds: Sounds, flags: int, least_cdb: int, hit: int) -> int:
        return columns.weigh(sounds.level_cdb, self.flags, self.weight, sounds.count, flags, least_cdb, hit)

    def best_chain(self, sounds: Sounds) -> int:
        """Set count, due, interval_us and first_us of the chain that scores best; return its score, -1 for none."""
        self._run_chain(sounds)
        best = self.best
        if best[chain.SCORE] >= 0:
            self.count = best[chain.HITS]
            self.due = best[chain.HITS] + best[chain.MISSES]
            self.first_us = best[chain.FIRST_HIT_US]
            span = best[chain.LAST_HIT_US] - self.first_us
            step = best[chain.STEP_US]
            self.interval_us = span // max(1, (span + step // 2) // step)
        return best[chain.SCORE]

    def _run_chain(self, sounds: Sounds) -> None:
        hz = sounds.frequency_hz
        chain.best_chain(
            sounds.time_us, 0, sounds.level_cdb, hz, self.weight, self.rules, sounds.count, self.best
        )

    def _measure(self, sounds: Sounds) -> None:
        """Collect the held train's members by their phase, whatever their level, and take medians over them."""
        slack = slack_us(self.interval_us)
        self.take_phases(sounds)
        n = 0
        beyond = 0
        last_us = -LONGEST_US
        for row in range(sounds.count):
            if self.flags[row] & columns.MEMBER == columns.MEMBER and self.slip_us(row) <= slack:
                if sounds.time_us[row] - last_us > 2 * slack:
                    self.members[n] = row
                    n += 1
                    beyond += self._is_beyond(sounds.time_us[row])
                elif sounds.level_cdb[row] > sounds.level_cdb[self.members[n - 1]]:
                    self.members[n - 1] = row
                last_us = sounds.time_us[row]
        self.level_cdb = self._median(sounds.level_cdb, n)
        n = self._keep_near_level(sounds, n)
        self.count = n
        self.due = max(self.due + beyond, n)
        self.last_us = last_us
        self.frequency_hz = self._median(sounds.frequency_hz, n)
        self.sweep_hz = self._median(sounds.sweep_hz, n)
        self.burst_us = self._median(sounds.length_us, n)
        self._take_ringdown(sounds, n)

    def _is_beyond(self, time_us: int) -> bool:
        """Tell whether a member lies in the margins of the reading, where the chain asked for none."""
        best = self.best
        if time_us >= self.rules[chain.END_US]:
            return time_us > best[chain.LAST_HIT_US]
        return time_us <= self.rules[chain.BEGIN_US] and time_us < best[chain.FIRST_HIT_US]

    def take_phases(self, sounds: Sounds) -> None:
        """Set phase_us: how long after a beat of the held train each sound begins."""
        columns.phases(sounds.time_us, self.phase_us, sounds.count, self.first_us, self.interval_us)

    def slip_us(self, row: int) -> int:
        """Return how far a sound is from the nearest beat of the held train, in us."""
        late = self.phase_us[row]
        return min(late, self.interval_us - late)

    def _keep_near_level(self, sounds: Sounds, n: int) -> int:
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

    def _median(self, column: Ints, n: int) -> int:
        values = self.values
        for i in range(n):
            self._insert(i, column[self.members[i]])
        if n & 1:
            return values[n >> 1]
        return (values[n >> 1] + values[(n >> 1) - 1]) >> 1

    def _take_ringdown(self, sounds: Sounds, n: int) -> None:
        """Take the lower quartile of the members' ring-downs, for noise makes a fall longer; and the longest."""
        kept = 0
        for i in range(n):
            if sounds.ringdown_us[self.members[i]] >= 0:
                kept += 1
                self._insert(kept - 1, sounds.ringdown_us[self.members[i]])
        if kept:
            self.ringdown_us = self.values[kept - 1 >> 2]
            self.ringdown_most_us = self.values[kept - 1]

    def _insert(self, k: int, value: int) -> None:
        """Put a value in its place among the first k of `values`, which are in order."""
        values = self.values
        while k > 0 and values[k - 1] > value:
            values[k] = values[k - 1]
            k -= 1
        values[k] = value

    def _name_held(self, sounds: Sounds) -> None:
        for row in range(sounds.count):
            sounds.kind[row] = names.OTHER
        for i in range(self.count):
            sounds.kind[self.members[i]] = names.HELD

    def _count_rivals(self, sounds: Sounds) -> None:
        """Count what is about as loud as the held train: bursts, and what is none."""
        self.rivals = self._count_loud(sounds, columns.BURST)
        self.strays = self._count_loud(sounds, columns.CLEAR) - self.rivals

    def _count_loud(self, sounds: Sounds, asked: int) -> int:
        above_cdb = self.level_cdb - RIVAL_BELOW_CDB
        kind = sounds.kind
        return columns.count_loud(
            sounds.level_cdb, self.flags, kind, sounds.count, asked, above_cdb, names.HELD
        )
