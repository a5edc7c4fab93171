"""A section of the seal check, between two marks, and the verdict on it."""

from curbtick_wire import names, records
from micropython import const

from curbtick_probe import reason
from curbtick_probe.seal.meter import ToneMeter

# A tone is lost when so many updates in a row (0.6 s) do not hear it.
LOST_UPDATES = const(3)

# Updates that a section takes at least, and how far above the noise a tone must be to be found nine times in ten.
SECTION_UPDATES = const(2)
DETECT_CDB = const(1180)

# An update is wrong in one of a thousand, a section of sixty updates in one of seventeen. A tone this far above the
# noise is so in one of 100,000 updates (seal/meter.py's law at a ratio of 12.6), two updates on end that agree in
# frequency in one of a million.
SURE_CDB = const(1100)

# One source, heard twice, keeps its frequency within this.
SAME_UHZ = const(10000000)

_TIGHT = names.SEAL_VERDICTS.index("tight")
_LEAK = names.SEAL_VERDICTS.index("leak")


class Section:
    """What was heard between two marks. Levels in hundredths of a dB of the high input's full scale.

    number: 1..99.
    updates: how many it took. heard, noisy, clipped, dead: how many of them heard the tone, were too noisy to hear a
    leak, clipped, had a dead microphone.
    lost: how many blocks were lost. spoiled: how often listening broke off. pauses: how often nobody listened.
    silent: updates in a row, up to now, that did not hear the tone.
    sure_cdb: the highest level that chance did not make: far above the noise, or of two updates on end alike.
    level_cdb, noise_cdb, snr_cdb, measured_hz, offset_uhz: of the update with the highest level.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        self.updates = self.heard = self.noisy = self.clipped = self.dead = 0
        self.lost = self.spoiled = self.pauses = 0
        self.level_cdb = self.noise_cdb = self.snr_cdb = records.NONE_I16
        self.measured_hz = self.offset_uhz = 0
        self.sure_cdb = records.NONE_I16
        self._hears = False
        self._last_uhz = 0
        self.silent = 0

    def add(self, meter: ToneMeter, gain_cdb: int, floor_cdb: int | None) -> None:
        """Take one update in. floor_cdb: the level that must be detectable, or None without a reference."""
        self.updates += 1
        self.clipped += meter.clipped
        self.dead += meter.dead
        self.silent = 0 if meter.heard else self.silent + 1
        noise_cdb = meter.noise_cdb + gain_cdb
        if floor_cdb is not None and noise_cdb + DETECT_CDB > floor_cdb:
            self.noisy += 1
        if self.heard == 0:
            self.noise_cdb = max(noise_cdb, self.noise_cdb)
        if meter.heard:
            self._hear(meter, meter.level_cdb + gain_cdb, noise_cdb)
        self._hears = meter.heard

    def _hear(self, meter: ToneMeter, level_cdb: int, noise_cdb: int) -> None:
        again = self._hears and abs(meter.offset_uhz - self._last_uhz) <= SAME_UHZ
        if again or meter.snr_cdb >= SURE_CDB:
            self.sure_cdb = max(self.sure_cdb, level_cdb)
        self.heard += 1
        self._last_uhz = meter.offset_uhz
        if level_cdb > self.level_cdb or self.heard == 1:
            self.level_cdb = level_cdb
            self.noise_cdb = noise_cdb
            self.snr_cdb = meter.snr_cdb
            self.measured_hz = meter.measured_hz
            self.offset_uhz = meter.offset_uhz

    def alive(self) -> bool:
        """Whether the tone was heard in the section, and up to its end."""
        return bool(self.heard) and self.silent < LOST_UPDATES

    def leaks(self, floor_cdb: int) -> bool:
        """Whether the tone was heard above the level at which a leak begins."""
        return self.sure_cdb > floor_cdb

    def doubts(self, floor_cdb: int | None) -> int:
        """Return the mask of what in the section stands against a verdict. floor_cdb: None without a reference."""
        reasons = reason.SAMPLES_LOST if self.lost or self.spoiled else 0
        if floor_cdb is not None and not self.leaks(floor_cdb):
            reasons |= self._doubts_of_silence()
        if self.updates < SECTION_UPDATES:
            reasons |= reason.TOO_SHORT
        if self.dead:
            reasons |= reason.MICROPHONE_FAULT
        if self.clipped > 1 + self.updates // 5:
            reasons |= reason.CLIPPED
        return reasons

    def _doubts_of_silence(self) -> int:
        """What stands against "tight" alone: a leak that was heard is one, whatever was not heard."""
        reasons = reason.NOISY if self.noisy * 5 > self.updates else 0
        return reasons | reason.SAMPLES_LOST if self.pauses else reasons

    def verdict(self, floor_cdb: int | None, reasons: int) -> int:
        """Return the verdict, given all reasons against one."""
        if reasons or floor_cdb is None:
            return names.RETRY
        return _LEAK if self.leaks(floor_cdb) else _TIGHT
