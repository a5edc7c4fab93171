"""The hiss check: the background first, then a live meter of the rise above it, and marked sections.

check = HissCheck(board, limit_set)
check.background()       # 6.9 s, pointing away; returns whether it was taken, check.status says what was against it
check.start()
check.update()           # 5 times a second: the bar
check.stop()
check.mark()             # closes a section: record values with the verdict
"""

from curbtick_wire import names, records
from curbtick_wire._typing import Values
from micropython import const

from curbtick_probe.hardware import Ears
from curbtick_probe.hiss.background import Background
from curbtick_probe.hiss.meter import ANALYSED, BAND_LOW_HZ, BAND_SUBS, SEGMENTS, SUB_HZ, HissMeter
from curbtick_probe.hiss.recent import LOOK_UPDATES
from curbtick_probe.hiss.rise import Rise
from curbtick_probe.hiss.section import (
    CLIPPED,
    DEAD,
    GUSTY,
    NO_BACKGROUND,
    NOISY,
    QUIET,
    RISE,
    STATUSES,
    TONE,
    Section,
)
from curbtick_probe.listening import SPOILED, LockedCapture
from curbtick_probe.updates import LED_CDB, LEDS, SECTION_NUMBER_MAX, UPDATE_TENTHS_MS

__all__ = ("STATUSES", "HissCheck")

# Updates that choose the band, and that measure the background in it.
CHOOSE_UPDATES = const(5)
BACKGROUND_UPDATES = const(30)

# Statuses in which no sample can be trusted, in which the background may be followed, in which the rise counts. A
# tuple that is made anew at each update would be an allocation.
_BROKEN = (CLIPPED, DEAD)
_CALM = (QUIET, GUSTY)
_TRUSTED = (QUIET, RISE, TONE)

# A background so loud in its quietest band would bring the peaks of any leak to the converter's rails.
_NOISY_CDB = const(-2000)


class HissCheck:
    """One hiss check on one vehicle. Reads `board.capture`, with the heap locked.

    status: one of section.STATUSES by index.
    fast: set it to let the bar follow a fifth of a second instead of a whole one.
    leds: 0..12, 3 dB above the background each.
    dot: the other response on the same scale.
    known: the background, or None. rise: the rise above it, or None.
    section: the section that is open.
    """

    def __init__(self, board: Ears, limit_set: dict[str, int]) -> None:
        """limit_set: the set in force."""
        self.board = board
        self.capture = LockedCapture(board.capture)
        self.meter = HissMeter(self.capture)
        self.begin(limit_set)

    def begin(self, limit_set: dict[str, int]) -> None:
        """Begin anew, on another vehicle; the buffers stay, for a heap has no room for them twice."""
        self.meter.restart()
        self.meter.start_sub = self.meter.line_count = 0
        self.section = Section(1)
        self.known: Background | None = None
        self.rise: Rise | None = None
        self.fast = False
        self.status = NO_BACKGROUND
        self.leds = self.dot = 0
        self._unsteady = self._risen = self._overruns = 0
        self._limit_set = limit_set
        self._number = 1

    def start(self) -> None:
        """Begin listening, on the high input; nothing may be allocated until stop()."""
        self.capture.start(names.INPUT_HIGH)
        self._overruns = 0
        # The averages of a second must not span the time before.
        self.meter.restart()
        if self.rise:
            self.rise.restart()
        if self.known:
            self.known.puffs.restart()

    def stop(self) -> None:
        """End listening."""
        self.capture.stop()

    def pause(self) -> None:
        """Tell that the section under way was not listened to for a while, and goes on."""
        self.section.pauses += 1

    def lose(self) -> None:
        """Tell that listening broke off in the section under way, for something asked for memory."""
        self.section.spoiled += 1

    def background(self, updates: int = BACKGROUND_UPDATES, choose: int = CHOOSE_UPDATES) -> bool:
        """Choose the quietest band and learn its level and its unrest, pointing away; return whether it was taken.

        updates: how many measure the background, 3 or more (the newest 40 count); choose: how many before them choose
        the band, 1..5.
        """
        self.known = self.rise = None
        background = Background()
        self.status = self._learn(background, updates, choose)
        if self.status == QUIET:
            background.settle(self.meter, self._limit_set["hiss_rise_cdb"])
            self.known = background
        self._begin_section()
        return self.known is not None

    def _learn(self, background: Background, updates: int, choose: int) -> int:
        """Listen to a background; return the status: QUIET where it can serve."""
        clipped = dead = lost = False
        try:
            self.start()
            for n in range(choose + updates):
                self.meter.update()
                clipped = clipped or self.meter.clipped
                dead = dead or self.meter.dead
                if n < choose:
                    background.survey(self.meter)
                    self.meter.start_sub = background.quietest()
                else:
                    background.learn(self.meter)
            lost = self.capture.overruns > 0
        except SPOILED:
            lost = True
        finally:
            self.stop()
        return NO_BACKGROUND if lost else self._background_status(background, clipped, dead)

    def _background_status(self, background: Background, clipped: bool, dead: bool) -> int:
        if dead or self.meter.floor_cdb() < self._limit_set["high_floor_min_cdb"]:
            return DEAD
        if clipped:
            return CLIPPED
        if background.unrest.mean(1, background.unrest.count) > _NOISY_CDB:
            return NOISY
        return QUIET

    def _begin_section(self) -> None:
        self.section = Section(self._number)
        if self.known:
            self.rise = Rise(self.meter, self.known)

    def update(self) -> int:
        """Listen for 196.6 ms and return how many LEDs to light, 0..12; `status` and `dot` go with it."""
        self.meter.update()
        self.section.lost += self.capture.overruns - self._overruns
        self._overruns = self.capture.overruns
        known = self.known
        rise = self.rise
        if known and rise:
            rise.add()
            known.puffs.add(self.meter, known.drift_cdb())
            self.status = self._judge(known, rise)
            self._unsteady = self._unsteady + 1 if self.status == GUSTY else 0
            if self.status not in _BROKEN:
                self.section.hear_tones(rise.tones)
                if known.calm:
                    self.section.hear_puffs(ANALYSED, known.puffs.loud)
            self.section.add(self.status, self._trusted_rise_cdb(known, rise), known.unrest.level_cdb)
            self._show(known, rise)
            # What a rise was found in is no background, nor is what of it the next looks still hold.
            self._risen = LOOK_UPDATES if self.status == RISE else max(0, self._risen - 1)
            if self._may_follow(known, rise):
                known.follow(rise.recent.oldest_cdb())
        else:
            self.section.add(self.status, None, 0)
        return self.leds

    @property
    def told(self) -> int:
        """The status for the bar: a level that just rose or fell looks gusty for a second, and is shown instead."""
        if self.status == GUSTY and self._unsteady <= SEGMENTS and self.known and self.known.unrest.decides:
            return QUIET
        return self.status

    def _judge(self, known: Background, rise: Rise) -> int:
        meter = self.meter
        if meter.dead or meter.clipped:
            return DEAD if meter.dead else CLIPPED
        if known.puffs.found and known.calm and not rise.drowned():
            return RISE
        if not meter.ready:
            return QUIET
        if rise.stands_out():
            return _judged_rise(rise)
        if rise.tones.count:
            return TONE
        return QUIET if known.unrest.decides and rise.steady() else GUSTY

    def _may_follow(self, known: Background, rise: Rise) -> bool:
        """Whether the last look tells of the background: no rise, no tone, nothing amiss.

        All that is no rise is followed: leaving out what is half of one hides a slow wandering until it is one.
        """
        calm = (
            self.status in _CALM
            and not self._risen
            and rise.recent.count == LOOK_UPDATES
            and not rise.tones.count
        )
        return calm and rise.look_cdb < known.unrest.threshold_cdb

    def _trusted_rise_cdb(self, known: Background, rise: Rise) -> int | None:
        if self.status == RISE and known.puffs.found:
            return max(rise.rise_cdb, known.puffs.height_cdb)
        return rise.rise_cdb if self.meter.ready and self.status in _TRUSTED else None

    def _show(self, known: Background, rise: Rise) -> None:
        slow_cdb = rise.rise_cdb
        fast_cdb = self.meter.level_cdb - known.unrest.level_cdb
        if self.status == TONE:
            fast_cdb = min(fast_cdb, slow_cdb)
        self.leds = _leds(fast_cdb if self.fast else slow_cdb)
        self.dot = _leds(slow_cdb if self.fast else fast_cdb)

    def mark(self) -> Values:
        """Close the section: return its record values and begin the next."""
        values = self.values()
        self._number = self._number % SECTION_NUMBER_MAX + 1
        self._begin_section()
        return values

    def values(self) -> Values:
        """Return the record values of the section so far."""
        section, known = self.section, self.known
        verdict, reasons = section.verdict()
        tone_hz, tone_cdb = section.loudest()
        low_hz, high_hz = self.band_hz()
        return {
            "section": section.number,
            "verdict": verdict,
            "reasons": reasons,
            "band_low_hz": low_hz,
            "band_high_hz": high_hz,
            "background_cdb": section.background_cdb if known else records.NONE_I16,
            "level_cdb": section.level_cdb,
            "above_background_cdb": section.above_cdb,
            "tone_hz": tone_hz,
            "tone_cdb": tone_cdb,
            "listened_ms": section.updates * UPDATE_TENTHS_MS // 10,
            "limits_revision": self._limit_set["revision"],
            "battery_mv": self.board.battery_mv(),
            "blocks_lost": min(255, section.lost),
            "collections": min(255, section.spoiled),
            "calibration_revision": 0,
        }

    def band_hz(self) -> tuple[int, int]:
        """Return the chosen band's edges; (0, 0) without a background."""
        if not self.known:
            return 0, 0
        low_hz = BAND_LOW_HZ + self.meter.start_sub * SUB_HZ
        return low_hz, low_hz + BAND_SUBS * SUB_HZ


def _judged_rise(rise: Rise) -> int:
    if rise.drowned() or not rise.is_flat():
        return TONE
    return RISE if rise.steady() and rise.lasting() else GUSTY


def _leds(rise_cdb: int) -> int:
    return max(0, min(LEDS, rise_cdb // LED_CDB))
