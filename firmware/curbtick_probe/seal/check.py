"""The seal check: a free reference, a live meter along the seals, marked sections, and the reference confirmed.

check = SealCheck(board, tone_hz, limit_set)
check.reference()        # in free air; check.status says whether it was taken
check.start()
check.update()           # 5 times a second: the bar
check.stop()
check.mark()             # closes a section: record values, RETRY until the reference is confirmed
check.reference()        # again in free air: the record values of all closed sections, with their verdicts
"""

from curbtick_wire import names, records
from curbtick_wire._typing import Values
from micropython import const

from curbtick_probe import reason
from curbtick_probe.hardware import Ears
from curbtick_probe.listening import SPOILED, LockedCapture
from curbtick_probe.seal.meter import ToneMeter
from curbtick_probe.seal.reference import REFERENCE_UPDATES, SAME_CDB, Reference
from curbtick_probe.seal.section import DETECT_CDB, LOST_UPDATES, Section
from curbtick_probe.updates import LED_CDB, LEDS, SECTION_NUMBER_MAX, UPDATE_TENTHS_MS

HEARD, LOST, CLIPPED, DEAD, NO_REFERENCE, NOISY = range(6)
STATUSES = ("heard", "lost", "clipped", "dead", "no_reference", "noisy")

# The high input has this much more gain than the low one.
GAIN_CDB = const(4000)
# Below this level of the low input the high one serves again.
_QUIET_CDB = const(-4600)

# What the bar says of a reference that was refused; of one whose samples were lost, that there is none.
_REFUSED = {reason.MICROPHONE_FAULT: DEAD, reason.CLIPPED: CLIPPED, reason.TONE_LOST: LOST}

SECTIONS_MAX = const(24)


class SealCheck:
    """One seal check on one vehicle. Reads `board.capture`, with the heap locked; `update` allocates nothing.

    status: one of STATUSES by index, what the bar should say beside the level.
    leds: 0..12, 3 dB each, the reference at the top.
    dot: 0..12, the section's maximum on the same scale.
    reference_cdb: the free reference, or None.
    section: the section that is open.
    """

    def __init__(
        self, board: Ears, tone_hz: int, limit_set: dict[str, int], switch_input: bool = True
    ) -> None:
        """tone_hz: 10000 to 20000 in steps of 100, else ValueError. limit_set: the set in force.

        switch_input: whether the low input may serve where the high one clips.
        """
        self.board = board
        self.capture = LockedCapture(board.capture)
        self.meter = ToneMeter(self.capture, tone_hz)
        self._switch_input = switch_input
        self.begin(limit_set)

    def begin(self, limit_set: dict[str, int]) -> None:
        """Begin anew, on another vehicle; the buffers stay, for a heap has no room for them twice."""
        self.meter.restart()
        self._limit_set = limit_set
        self._pending: list[Section] = []
        self._number = 1
        self.section = Section(1)
        self.reference_cdb: int | None = None
        self._reference = Reference()
        self._refusal = reason.NO_REFERENCE
        self.status = NO_REFERENCE
        self.leds = self.dot = 0
        self._silent = 0
        self._lost = self._overruns = 0

    def start(self) -> None:
        """Begin listening, on the high input; nothing may be allocated until stop()."""
        self._listen_to(names.INPUT_HIGH)

    def stop(self) -> None:
        """End listening."""
        self.capture.stop()

    def pause(self) -> None:
        """Tell that the section under way was not listened to for a while, and goes on."""
        self.section.pauses += 1

    def lose(self) -> None:
        """Tell that listening broke off in the section under way, for something asked for memory."""
        self.section.spoiled += 1

    def _listen_to(self, source: int) -> None:
        self._input = source
        self._overruns = 0
        self._gain_cdb = 0 if source == names.INPUT_HIGH else GAIN_CDB
        self.capture.start(source)
        self.meter.settle()

    def _hear(self) -> None:
        """Make one update of the meter, and change the input when it does not suit."""
        meter = self.meter
        meter.update()
        self._lost = self.capture.overruns - self._overruns
        self._overruns += self._lost
        if not self._switch_input:
            return
        if meter.clipped and self._input == names.INPUT_HIGH:
            self._change_to(names.INPUT_LOW)
        elif self._input == names.INPUT_LOW and not meter.clipped and meter.level_cdb < _QUIET_CDB:
            self._change_to(names.INPUT_HIGH)

    def _change_to(self, source: int) -> None:
        self.capture.stop()
        self._listen_to(source)

    def reference(self, updates: int = REFERENCE_UPDATES) -> list[Values]:
        """Take the free reference, or confirm it: 1.2 s in free air before the source.

        updates: how many to take, 2..REFERENCE_UPDATES. Return the record values of the sections that were waiting,
        with their verdicts; an empty list the first time. After it, status is HEARD where the reference was taken,
        else what stood against it.
        """
        doubt = self._take_reference(updates)
        level_cdb = None if doubt else self._reference.level_cdb
        if self._pending:
            return self.confirm(level_cdb, doubt)
        self.reference_cdb = level_cdb
        self._refusal = doubt
        self._new_section()
        return []

    def confirm(self, after_cdb: int | None, doubt: int = 0) -> list[Values]:
        """Settle the waiting sections: return their record values, given the reference after them.

        after_cdb: its level, or None and the mask of the reason why there is none.
        """
        values = [self._judged(section, after_cdb, doubt) for section in self._pending]
        self._pending = []
        return values

    def settle_alone(self) -> list[Values]:
        """Settle the waiting sections by what was heard in them, where no reference can follow.

        A leak that was heard is one whatever came after it. "Tight" asks for the tone to be heard up to the section's
        end, for a source that stopped sounds like a tight seal; else the reason is that the tone was lost.
        """
        floor_cdb = self._floor_cdb()
        values = []
        for section in self._pending:
            lives = floor_cdb is not None and (section.leaks(floor_cdb) or section.alive())
            after_cdb = self.reference_cdb if lives else None
            values.append(self._judged(section, after_cdb, 0 if lives else reason.TONE_LOST))
        self._pending = []
        return values

    def _take_reference(self, updates: int) -> int:
        """Listen for a reference; return the mask of the reason against it, 0 for none."""
        if self.reference_cdb is None:
            self.meter.search()
        doubt = self._hear_reference(updates) or self._reference.settle()
        self.status = _REFUSED.get(doubt, NO_REFERENCE) if doubt else HEARD
        if not doubt:
            self._silent = 0
            if self.reference_cdb is None:
                self.meter.track(self._reference.offset_uhz)
        return doubt

    def _hear_reference(self, updates: int) -> int:
        """Listen to so many updates; return reason.SAMPLES_LOST where something allocated meanwhile, else 0."""
        reference = self._reference
        reference.clear()
        try:
            self.start()
            for _ in range(updates):
                gain_cdb = self._gain_cdb
                self._hear()
                # Where the input was changed the next update tells what the clipping one could not.
                clipped = self.meter.clipped and self._gain_cdb == gain_cdb
                reference.add(self.meter, gain_cdb, clipped, self._lost > 0)
        except SPOILED:
            return reason.SAMPLES_LOST
        finally:
            self.stop()
        return 0

    def update(self) -> int:
        """Listen for 196.6 ms and return how many LEDs to light, 0..12; `status` and `dot` go with it."""
        gain_cdb = self._gain_cdb
        self._hear()
        meter = self.meter
        self.section.add(meter, gain_cdb, self._floor_cdb())
        self.section.lost += self._lost
        self._silent = 0 if meter.heard else self._silent + 1
        self.leds = self._leds_of(meter.level_cdb + gain_cdb) if meter.heard else 0
        self.dot = self._leds_of(self.section.level_cdb)
        self.status = self._status(gain_cdb)
        return self.leds

    def _status(self, gain_cdb: int) -> int:
        if self.meter.dead:
            return DEAD
        if self.meter.clipped and gain_cdb == self._gain_cdb:
            return CLIPPED
        floor_cdb = self._floor_cdb()
        if floor_cdb is None:
            return NO_REFERENCE
        if self._silent >= LOST_UPDATES:
            return LOST
        if self.meter.noise_cdb + gain_cdb + DETECT_CDB > floor_cdb:
            return NOISY
        return HEARD

    def _floor_cdb(self) -> int | None:
        """Return the level at which a leak begins, or None without a reference."""
        if self.reference_cdb is None:
            return None
        return self.reference_cdb - self._limit_set["seal_leak_cdb"]

    def _leds_of(self, level_cdb: int) -> int:
        if self.reference_cdb is None or level_cdb == records.NONE_I16:
            return 0
        return max(0, min(LEDS, LEDS - (self.reference_cdb - level_cdb) // LED_CDB))

    def mark(self) -> Values:
        """Close the section: return its record values, RETRY until the reference is confirmed, and begin the next.

        A section beyond SECTIONS_MAX waiting ones stays RETRY.
        """
        section = self.section
        if self.reference_cdb is not None and len(self._pending) < SECTIONS_MAX:
            self._pending.append(section)
        values = self._judged(section, None, self._refusal or reason.NO_REFERENCE)
        self._number = self._number % SECTION_NUMBER_MAX + 1
        self._new_section()
        return values

    def _new_section(self) -> None:
        self.section = Section(self._number)
        self.dot = 0

    def _judged(self, section: Section, after_cdb: int | None, doubt: int) -> Values:
        """The record values of a section, given the reference after it or the reason bit why there is none."""
        floor_cdb = self._floor_cdb()
        reasons = doubt | section.doubts(floor_cdb)
        before_cdb = self.reference_cdb
        if after_cdb is not None and before_cdb is not None and abs(after_cdb - before_cdb) > SAME_CDB:
            reasons |= reason.REFERENCE_CHANGED
        return self._values(section, section.verdict(floor_cdb, reasons), reasons, after_cdb)

    def _values(self, section: Section, verdict: int, reasons: int, after_cdb: int | None) -> Values:
        below = records.NONE_I16
        if self.reference_cdb is not None and section.heard:
            below = self.reference_cdb - section.level_cdb
        return {
            "section": section.number,
            "verdict": verdict,
            "reasons": reasons,
            "tone_hz": self.meter.tone_hz,
            "measured_hz": section.measured_hz,
            "reference_cdb": _or_none(self.reference_cdb),
            "reference_after_cdb": _or_none(after_cdb),
            "level_cdb": section.level_cdb,
            "noise_cdb": section.noise_cdb,
            "snr_cdb": section.snr_cdb,
            "below_reference_cdb": below,
            "listened_ms": section.updates * UPDATE_TENTHS_MS // 10,
            "limits_revision": self._limit_set["revision"],
            "battery_mv": self.board.battery_mv(),
            "blocks_lost": min(255, section.lost),
            "collections": min(255, section.spoiled),
            "calibration_revision": 0,
        }


def _or_none(level_cdb: int | None) -> int:
    return records.NONE_I16 if level_cdb is None else level_cdb
