"""A section of the hiss check, between two marks, and the verdict on it."""

from curbtick_wire import names, records
from micropython import const

from curbtick_probe import reason

QUIET, RISE, TONE, GUSTY, NOISY, CLIPPED, DEAD, NO_BACKGROUND = range(8)
STATUSES = ("quiet", "rise", "tone", "gusty", "noisy", "clipped", "dead", "no_background")

SECTION_UPDATES = const(5)
TONES_MAX = const(8)
_SAME_TONE_HZ = const(1000)

_QUIET = names.HISS_VERDICTS.index("quiet")
_HISS = names.HISS_VERDICTS.index("hiss")
_TONE = names.HISS_VERDICTS.index("tone")


class Section:
    """What was heard between two marks.

    number: 1..99.
    updates: how many it took. counts: how many of them had each of STATUSES.
    above_cdb: the highest rise above the background. level_cdb, background_cdb: level and background then.
    tones: at most TONES_MAX, as (frequency_hz, level_cdb).
    """

    def __init__(self, number: int) -> None:
        self.number = number
        self.updates = 0
        self.counts = [0] * len(STATUSES)
        self.level_cdb = self.above_cdb = self.background_cdb = records.NONE_I16
        self.tones: list[tuple[int, int]] = []

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

    def hear_tone(self, frequency_hz: int, level_cdb: int) -> None:
        """Keep a tone: one entry for each frequency, the loudest of it, at most TONES_MAX."""
        for place, (known_hz, known_cdb) in enumerate(self.tones):
            if abs(known_hz - frequency_hz) < _SAME_TONE_HZ:
                if level_cdb > known_cdb:
                    self.tones[place] = (frequency_hz, level_cdb)
                return
        if len(self.tones) < TONES_MAX:
            self.tones.append((frequency_hz, level_cdb))

    def loudest(self) -> tuple[int, int]:
        """Return (frequency_hz, level_cdb) of the loudest tone, or (0, NONE_I16)."""
        loudest_hz, loudest_cdb = 0, records.NONE_I16
        for frequency_hz, level_cdb in self.tones:
            if level_cdb > loudest_cdb:
                loudest_hz, loudest_cdb = frequency_hz, level_cdb
        return loudest_hz, loudest_cdb

    def verdict(self) -> tuple[int, int]:
        """Return (verdict, reasons): RETRY for what cannot be trusted, else hiss before tone before quiet."""
        reasons = self._doubts()
        if reasons:
            return names.RETRY, reasons
        if self.counts[RISE]:
            return _HISS, 0
        if self.counts[TONE]:
            return _TONE, 0
        if self.counts[GUSTY] * 5 > self.updates:
            return names.RETRY, reason.GUSTY
        return _QUIET, 0

    def _doubts(self) -> int:
        reasons = 0
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
