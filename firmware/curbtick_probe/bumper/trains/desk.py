"""Room to think in: what the steps of one decision share, made once, because nothing may be made while it listens."""

import array

from curbtick_wire._typing import Ints
from micropython import const

from curbtick_probe.bumper.trains.sounds import MOST, SINGLE_CDB, Sounds
from curbtick_probe.dsp.train import alike, beats, chain, columns

# A sound with so much evidence has a trustworthy level, sweep and length.
CLEAR_CDB = const(2300)

# Only something as short and as pure as a burst can be one.
BURST_LEAST_US = const(60)
BURST_MOST_US = const(3500)
SWEEP_MOST_HZ = const(7500)

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
SLACK_PARTS = const(400)

# In the order of columns' words.
_MARKS = (
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
    return SLACK_US + interval_us // SLACK_PARTS


class Desk:
    """Columns beside those of the sounds, and words for the kernels. What a step leaves here, the next may overwrite.

    flags: of each sound (dsp.train.columns), from `mark` on.
    phase_us: how long after a beat each sound begins, from `take_phases` on.
    """

    def __init__(self) -> None:
        self.flags = array.array("i", [0] * MOST)
        self.phase_us = array.array("i", [0] * MOST)
        self.weight = array.array("i", [0] * MOST)
        self.rows = array.array("i", [0] * MOST)
        self.values = array.array("i", [0] * MOST)
        self.times_us = array.array("i", [0] * MOST)
        self.gaps_us = array.array("i", [0] * MOST)
        self.rules = array.array("i", [0] * chain.RULES_WORDS)
        self.best = array.array("i", [0] * chain.CHAIN_WORDS)
        self.like = array.array("i", [0] * alike.LIKE_WORDS)
        self.band = array.array("i", [0] * alike.BAND_WORDS)
        self.beat = array.array("i", [0] * beats.BEAT_WORDS)
        self.other_beat = array.array("i", [0] * beats.BEAT_WORDS)
        self.marks = array.array("i", _MARKS)

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

    def take_phases(self, sounds: Sounds, first_us: int, interval_us: int) -> None:
        """Set phase_us: how long after a beat each sound begins; a beat is at first_us."""
        beats.phases(sounds.time_us, self.phase_us, sounds.count, first_us, interval_us)

    def slip_us(self, row: int, interval_us: int) -> int:
        """Return how far a sound is from the nearest beat of take_phases' interval, in us."""
        late = self.phase_us[row]
        return min(late, interval_us - late)

    def weigh(self, sounds: Sounds, flags: int, least_cdb: int, hit: int) -> int:
        """Weigh the sounds that have all the flags and at least a level; return how many they are."""
        return columns.weigh(sounds.level_cdb, self.flags, self.weight, sounds.count, flags, least_cdb, hit)

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

    def run_chain(self, sounds: Sounds) -> int:
        """Leave the best chain of the weighed sounds in `best`; return its score, -1 for none."""
        hz = sounds.frequency_hz
        chain.best_chain(
            sounds.time_us, 0, sounds.level_cdb, hz, self.weight, self.rules, sounds.count, self.best
        )
        return self.best[chain.SCORE]

    def chain_interval_us(self) -> int:
        """Return the interval of the best chain, over its whole length."""
        best = self.best
        span_us = best[chain.LAST_HIT_US] - best[chain.FIRST_HIT_US]
        step_us = best[chain.STEP_US]
        return span_us // max(1, (span_us + step_us // 2) // step_us)

    def median(self, column: Ints, rows: Ints, n: int) -> int:
        """Return the median of a column over the first n of some rows."""
        for i in range(n):
            self.insert(i, column[rows[i]])
        values = self.values
        if n & 1:
            return values[n >> 1]
        return (values[n >> 1] + values[(n >> 1) - 1]) >> 1

    def insert(self, k: int, value: int) -> None:
        """Put a value in its place among the first k of `values`, which are in order."""
        values = self.values
        while k > 0 and values[k - 1] > value:
            values[k] = values[k - 1]
            k -= 1
        values[k] = value
