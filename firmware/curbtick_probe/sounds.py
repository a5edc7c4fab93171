"""The sounds of one reading, in columns: what `listen` fills and `train` sorts."""

import array

from micropython import const

MOST = const(192)
NOT_MEASURED = const(-1)


class Sounds:
    """Up to MOST sounds, each a row over columns of plain integers.

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

    def claim(self, evidence_cdb):
        """Return the row for a new sound with this evidence, or -1 where it is not worth one."""
        if self.count < MOST:
            self.count += 1
            return self.count - 1
        self.dropped += 1
        row = self._weakest()
        if self.evidence_cdb[row] >= evidence_cdb:
            return -1
        self._close_gap(row)
        return MOST - 1

    def _weakest(self):
        row = 0
        for i in range(1, MOST):
            if self.evidence_cdb[i] < self.evidence_cdb[row]:
                row = i
        return row

    def _close_gap(self, row):
        for column in self.columns:
            for i in range(row, MOST - 1):
                column[i] = column[i + 1]
