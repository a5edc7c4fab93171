"""What the sounds of one reading say, sorted: the held sensor's train, the system's cycle, the siblings', the rest."""

from micropython import const

from curbtick_probe.bumper.trains import cycle, desk, loop, siblings, train
from curbtick_probe.bumper.trains.sounds import SINGLE_CDB, Sounds
from curbtick_probe.dsp.train import alike

# A burst of half a millisecond is 2 kHz wide: so far beside its window a sound still is near it.
_NEAR_HZ = const(2000)


class _Looked:
    """Which sounds of a reading were looked at: all that it had then."""

    def __init__(self) -> None:
        self.forget()

    def forget(self) -> None:
        """None were."""
        self._listened_us = -1
        self._count = 0
        self._dropped = 0

    def note(self, sounds: Sounds, listened_us: int) -> None:
        """These were."""
        self._listened_us = listened_us
        self._count = sounds.count
        self._dropped = sounds.dropped

    def is_of(self, sounds: Sounds, listened_us: int) -> bool:
        """Tell whether it were just these: a sound that came since is counted, or another is dropped for it."""
        return (
            self._listened_us == listened_us
            and self._count == sounds.count
            and self._dropped == sounds.dropped
        )


class Evidence:
    """Everything that a verdict rests on. What was found of the same sounds already is not sought again.

    train: the held sensor's. cycle: the system's. siblings: the best train beside the held one.
    is_quicker: whether the siblings' loop seems to be a part of the held sensor's interval.
    loud_cdb, loud_us: level and length of the loudest single sound in or near the class's window.
    """

    def __init__(self) -> None:
        self.desk = desk.Desk()
        self.train = train.Train()
        self.cycle = cycle.Cycle()
        self.siblings = siblings.Siblings()
        self.is_quicker = False
        self.loud_cdb = -32768
        self.loud_us = 0
        self._held, self._cycle, self._faint = _Looked(), _Looked(), _Looked()

    def forget(self) -> None:
        """Begin a reading: what was found of the last one's sounds is of others."""
        self._held.forget()
        self._cycle.forget()
        self._faint.forget()

    def sort(self, sounds: Sounds, limits: dict[str, int], listened_us: int) -> None:
        """Sort the sounds of a reading that has listened for so long; sets their kinds."""
        self.find_held(sounds, listened_us)
        self.find_cycle(sounds, listened_us)
        cycle.find_uneven(self.cycle, self.train, sounds, self.desk, listened_us)
        self.look_faintly(sounds, listened_us)
        self.is_quicker = loop.is_quicker(self.siblings, self.cycle, self.train, sounds, self.desk)
        siblings.name_others(self.siblings, self.train, self.train.interval_us, sounds, self.desk)
        self._find_loudest(sounds, limits)

    def find_held(self, sounds: Sounds, listened_us: int) -> None:
        """Find the held train."""
        self.is_quicker = False
        if not self._held.is_of(sounds, listened_us):
            self._cycle.forget()
            train.find(self.train, sounds, self.desk, listened_us)
            self._held.note(sounds, listened_us)

    def find_cycle(self, sounds: Sounds, listened_us: int) -> None:
        """After find_held, find the system's cycle; sounds may have come since.

        Where none has, all that verdict.clearly_passes asks is as `sort` leaves it.
        """
        if not self._cycle.is_of(sounds, listened_us):
            cycle.find(self.cycle, self.train, sounds, self.desk, listened_us)
            self._cycle.note(sounds, listened_us)

    def look_faintly(self, sounds: Sounds, listened_us: int) -> None:
        """After find_held, find the siblings' train, faint candidates included; sounds may have come since."""
        is_alone = self.train.count == 0
        if not is_alone or not self._faint.is_of(sounds, listened_us):
            siblings.find(self.siblings, self.train, sounds, self.desk, listened_us)
            # Beside a held train they rest on that, too, which may be found anew.
            self._faint.forget()
            if is_alone:
                self._faint.note(sounds, listened_us)

    def _find_loudest(self, sounds: Sounds, limits: dict[str, int]) -> None:
        """Note the loudest single sound in or near the class's window that is no click, of any length."""
        band = self.desk.band
        band[alike.LEAST_CDB] = -32768
        band[alike.LEAST_EVIDENCE_CDB] = SINGLE_CDB
        band[alike.LEAST_US] = desk.BURST_LEAST_US
        band[alike.LOWEST_HZ] = limits["centre_hz"] - limits["window_hz"] - _NEAR_HZ
        band[alike.HIGHEST_HZ] = limits["centre_hz"] + limits["window_hz"] + _NEAR_HZ
        row = alike.loudest(
            sounds.level_cdb,
            sounds.evidence_cdb,
            sounds.length_us,
            sounds.frequency_hz,
            band,
            sounds.count,
        )
        self.loud_cdb = sounds.level_cdb[row] if row >= 0 else -32768
        self.loud_us = sounds.length_us[row] if row >= 0 else 0
