"""The sounds of one reading, in columns: what `listen` fills and `train` sorts."""

import array

from micropython import const

from curbtick_probe.dsp.train import columns

# The most sounds that are kept.
MOST = const(64)

# Evidence (1000 log10 of energy over noise density) from which a single sound counts as heard: less than one in a
# thousand readings of noise has one.
SINGLE_CDB = const(1390)


class Sounds:
    """Up to MOST sounds in the order of their starts, each a row over columns of plain integers.

    time_us: start (-6 dB before the peak) from the reading's first sample.
    level_cdb: of the peak, in dBFS.
    frequency_hz: at the peak.
    sweep_hz: how much the frequency rises from the first to the last third of the sound.
    length_us: time within 6 dB of the peak.
    ringdown_us: from the peak to -20 dB, or -1 where that was not heard.
    evidence_cdb: energy over noise density of the best coherent stretch.
    kind: a place in names.SOUND_KINDS.
    dropped: how many sounds were lost. When all rows are taken, a new sound replaces the one with the least evidence if
    it has more.
    """

    def __init__(self) -> None:
        self.time_us = array.array("i", [0] * MOST)
        self.level_cdb = array.array("i", [0] * MOST)
        self.frequency_hz = array.array("i", [0] * MOST)
        self.sweep_hz = array.array("i", [0] * MOST)
        self.length_us = array.array("i", [0] * MOST)
        self.ringdown_us = array.array("i", [0] * MOST)
        self.evidence_cdb = array.array("i", [0] * MOST)
        self.kind = array.array("i", [0] * MOST)
        self.columns = (
            self.time_us,
            self.level_cdb,
            self.frequency_hz,
            self.sweep_hz,
            self.length_us,
            self.ringdown_us,
            self.evidence_cdb,
            self.kind,
        )
        self.count = 0
        self.dropped = 0

    def clear(self) -> None:
        """Forget all sounds."""
        self.count = 0
        self.dropped = 0

    def claim(self, evidence_cdb: int, time_us: int) -> int:
        """Return the row for a new sound with this evidence and start, or -1 where it is not worth one.

        Its time is set; the rows of later sounds move up by one.
        """
        if self.count == MOST:
            self.dropped += 1
            if not self._drop_weaker(evidence_cdb):
                return -1
        row = self.count
        while row > 0 and self.time_us[row - 1] > time_us:
            row -= 1
        self._move(self.count, row)
        self.count += 1
        self.time_us[row] = time_us
        return row

    def _drop_weaker(self, evidence_cdb: int) -> bool:
        row = columns.weakest(self.evidence_cdb, MOST)
        if self.evidence_cdb[row] >= evidence_cdb:
            return False
        self._move(row, MOST - 1)
        self.count = MOST - 1
        return True

    def _move(self, source: int, target: int) -> None:
        if source != target:
            for column in self.columns:
                columns.move(column, source, target)


class Beats:
    """Room for what lies on the beats of the sounds: how many sounds, and their mean evidence; and on another beat."""

    def __init__(self) -> None:
        self.hits = array.array("i", [0] * MOST)
        self.means_cdb = array.array("i", [0] * MOST)
        self.other_hits = array.array("i", [0] * MOST)
        self.other_means_cdb = array.array("i", [0] * MOST)
