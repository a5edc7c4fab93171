"""A hiss that comes and goes within a second: runs of blocks in which the whole band stands above the background."""

import array

from micropython import const

from curbtick_probe.dsp import level
from curbtick_probe.dsp.hiss import heights
from curbtick_probe.hiss.meter import ANALYSED, BAND_SUBS, HissMeter

# A block is loud where its second lowest sub-band stands 3 dB above the background's mean logarithm: of steady noise a
# sub-band of a block has a standard deviation of 1.4 dB (20 bins of a Hann window, two halves: 10.4 independent powers
# of two degrees of freedom each), the second lowest of four one of 1.0 around -0.4, so that chance makes about one
# block of 3,000 loud, and never three in a row. Q10 of base 2.
LOUD_Q10 = const(1020)
# Where the highest sub-band stands 9 dB higher still, a burst or a whistle made it: a hiss is broad.
_BROAD_Q10 = const(3060)

# A hiss that is passed: loud for so many analysed blocks on end, 12.3 ms from one to the next: 0.12 s. Keys and knocks
# die away within 50 ms; a wand that passes a fitting 15 cm away at 1.4 m/s hears it twice as long.
_PASS_BLOCKS = const(10)
# A hiss that pulses: so many runs of so many blocks (37 ms and more) in one section.
_PULSE_BLOCKS = const(4)
_PULSES = const(3)

# 3 dB are five standard deviations of the most restless background in which this is asked, dB * 100 an update.
RESTLESS_CDB = const(60)
# Updates whose mean a background's own blocks are compared with.
_LEAST_UPDATES = const(3)


class Puffs:
    """Learns a background's blocks, then finds loud ones. `learn` and `add` allocate nothing.

    loud: how many blocks of the last update were loud. found: whether they are a hiss, with the section's before them.
    height_cdb: how far the run that was found stands above the background.
    calm: whether the background had no run of loud blocks itself.
    """

    def __init__(self) -> None:
        self._logs = array.array("i", [0] * (BAND_SUBS * ANALYSED))
        self._heights = array.array("i", [0] * ANALYSED)
        self._sums = array.array("i", [0] * BAND_SUBS)
        self._reference = array.array("i", [0] * BAND_SUBS)
        self._updates = 0
        self.calm = True
        self.restart()

    def restart(self) -> None:
        """Begin a section, or go on with one after a pause."""
        self.loud = self.height_cdb = 0
        self.found = False
        self._run = self._run_q10 = self._pulses = 0

    def learn(self, meter: HissMeter) -> None:
        """Add one update of a background."""
        self._measure(meter)
        if self._updates >= _LEAST_UPDATES:
            self._compare(0)
            self.calm = self.calm and self._longest() <= 1
        heights.total(self._logs, self._sums, ANALYSED)
        self._updates += 1
        for n in range(BAND_SUBS):
            self._reference[n] = self._sums[n] // (self._updates * ANALYSED)

    def add(self, meter: HissMeter, drift_cdb: int) -> None:
        """Look at one update of a section. drift_cdb: how far the background has moved since it was learned."""
        self._measure(meter)
        self._compare(drift_cdb * level.CDB_DENOMINATOR // level.CDB_NUMERATOR)
        self.loud = 0
        self.found = False
        for n in range(ANALYSED):
            self._follow(self._heights[n])

    def _measure(self, meter: HissMeter) -> None:
        heights.gather(meter.rows, self._logs, meter.start_sub, ANALYSED)
        level.log2_q10(self._logs, BAND_SUBS * ANALYSED)

    def _compare(self, drift_q10: int) -> None:
        heights.heights(self._logs, self._reference, self._heights, ANALYSED, _BROAD_Q10)
        for n in range(ANALYSED):
            self._heights[n] -= drift_q10

    def _longest(self) -> int:
        """The longest run of loud blocks within an update."""
        longest = run = 0
        for n in range(ANALYSED):
            run = run + 1 if self._heights[n] > LOUD_Q10 else 0
            longest = max(longest, run)
        return longest

    def _follow(self, height_q10: int) -> None:
        if height_q10 <= LOUD_Q10:
            self._run = self._run_q10 = 0
            return
        self.loud += 1
        self._run += 1
        self._run_q10 += height_q10
        if self._run == _PULSE_BLOCKS:
            self._pulses += 1
        if self._run >= _PASS_BLOCKS or self._run >= _PULSE_BLOCKS and self._pulses >= _PULSES:
            self.found = True
            self.height_cdb = self._run_q10 // self._run * level.CDB_NUMERATOR // level.CDB_DENOMINATOR
