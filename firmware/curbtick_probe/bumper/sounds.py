"""The sounds of one reading, in columns: what `listen` fills and `train` sorts."""

import array

from micropython import const

from curbtick_probe.dsp.train import columns

MOST = const(64)
NOT_MEASURED = const(-1)


class Sounds:
    """Up to MOST sounds in the order of their starts, each a row over columns of plain integers.

    time_us: start (-6 dB before the peak) from the reading's first sample. level_cdb: dBFS. frequency_hz, sweep_hz.
    length_us: time within 6 dB of the peak. ringdown_us: peak to -20 dB, or NOT_MEASURED. evidence_cdb: energy over
    noise density of the best coherent stretch. kind: a place in names.SOUND_KINDS.
    When full, a new sound replaces the one with the least evidence if it has more; `dropped` counts the lost.
    """

    def __init__(self):
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

    def clear(self):
        """Forget all sounds."""
        self.count = 0
        self.dropped = 0

    def claim(self, evidence_cdb, time_us):
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

    def _drop_weaker(self, evidence_cdb):
        row = columns.weakest(self.evidence_cdb, MOST)
        if self.evidence_cdb[row] >= evidence_cdb:
            return False
        self._move(row, MOST - 1)
        self.count = MOST - 1
        return True

    def _move(self, source, target):
        if source != target:
            for column in self.columns:
                columns.move(column, source, target)
