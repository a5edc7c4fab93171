"""A section of the hiss check, between two marks, and the verdict on it."""

from curbtick_wire import names, records
from micropython import const

from curbtick_probe import reason
from curbtick_probe.hiss.tones import Tones

QUIET, RISE, TONE, GUSTY, NOISY, CLIPPED, DEAD, NO_BACKGROUND = range(8)
STATUSES = ("quiet", "rise", "tone", "gusty", "noisy", "clipped", "dead", "no_background")

SECTION_UPDATES = const(5)
# A knock a second makes one or two loud blocks of 81; a leak that pulses for a tenth of the time, ten in a hundred.
_LOUD_LEAST = const(6)
_LOUD_PERCENT = const(3)
_QUIET = names.HISS_VERDICTS.index("quiet")
_HISS = names.HISS_VERDICTS.index("hiss")
_TONE = names.HISS_VERDICTS.index("tone")


class Section:
    """What was heard between two marks.

    number: 1..99.
    updates: how many it took. counts: how many of them had each of STATUSES.
    above_cdb: the highest rise above the background. level_cdb, background_cdb: level and background then.
    blocks, loud: blocks of the updates that were judged, and how many of them were loud in the whole band.
    lost: how many blocks were lost. spoiled: how often listening broke off. pauses: how often nobody listened.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        self.updates = 0
        self.counts = [0] * len(STATUSES)
        self.level_cdb = self.above_cdb = self.background_cdb = records.NONE_I16
        self.lost = self.spoiled = self.pauses = 0
        self.blocks = self.loud = 0
        self.tones = Tones()

    def add(self, status: int, rise_cdb: int | None, background_cdb: int) -> None:
        """Take one update in. rise_cdb: None where none was measured."""
        self.updates += 1
        self.counts[status] += 1
        if self.above_cdb == records.NONE_I16:
            self.background_cdb = background_cdb
        if rise_cdb is not None and rise_cdb > self.above_cdb:
            self.above_cdb = rise_cdb
            self.background_cdb = background_cdb
            self.level_cdb = background_cdb + rise_cdb

    def hear_tones(self, tones: Tones) -> None:
        """Keep an update's tones."""
        for n in range(tones.count):
            self.tones.keep(tones.hz[n], tones.cdb[n])

    def loudest(self) -> tuple[int, int]:
        """Return (frequency_hz, level_cdb) of the loudest tone, or (0, NONE_I16)."""
        loudest_cdb = self.tones.loudest_cdb()
        for frequency_hz, level_cdb in self.tones.rows():
            if level_cdb == loudest_cdb:
                return frequency_hz, level_cdb
        return 0, records.NONE_I16

    def verdict(self) -> tuple[int, int]:
        """Return (verdict, reasons): RETRY for what cannot be trusted, else hiss before tone before quiet."""
        reasons = self._doubts()
        if reasons:
            return names.RETRY, reasons
        if self.counts[RISE]:
            return _HISS, 0
        if self.counts[TONE]:
            return _TONE, 0
        if self.pauses:
            return names.RETRY, reason.SAMPLES_LOST
        if self.counts[GUSTY] * 5 > self.updates or self._is_restless():
            return names.RETRY, reason.GUSTY
        return _QUIET, 0

    def hear_puffs(self, blocks: int, loud: int) -> None:
        """Count an update's loud blocks."""
        self.blocks += blocks
        self.loud += loud

    def _is_restless(self) -> bool:
        """Whether more came and went than knocks do: something that may be a leak, and is not to be called quiet."""
        return self.loud >= _LOUD_LEAST and self.loud * 100 > self.blocks * _LOUD_PERCENT

    def _doubts(self) -> int:
        reasons = reason.SAMPLES_LOST if self.lost or self.spoiled else 0
        if self.counts[NOISY]:
            reasons |= reason.NOISY
        elif self.counts[NO_BACKGROUND]:
            reasons |= reason.NO_BACKGROUND
        if self.updates < SECTION_UPDATES:
            reasons |= reason.TOO_SHORT
        if self.counts[CLIPPED] * 5 > self.updates:
            reasons |= reason.CLIPPED
        if self.counts[DEAD]:
            reasons |= reason.MICROPHONE_FAULT
        return reasons
