"""One reading from the press to the pattern: measured, logged, and only then shown; and the bumper results."""

from curbtick_wire import names, records
from curbtick_wire.classes import nearest_class
from micropython import const

from curbtick_probe import reason
from curbtick_probe.app import visits
from curbtick_probe.app.class_limits import limits_for
from curbtick_probe.app.selftest import in_record_ddeg
from curbtick_probe.bumper import reading
from curbtick_probe.panel import patterns
from curbtick_probe.store.log import LogFull

# What storing a reading takes, until one was stored.
_FLASH_MS = 60
# One stay at a bumper: readings further apart are of two, for the system may have been switched off between them.
_STAY_MS = const(300_000)


class _Visit:
    """One stay at a bumper: whether its system was heard to transmit, and whether a silent reading was taken.

    What was heard on an earlier visit proves nothing: the system may be switched off by now.
    """

    def __init__(self, bumper=None):
        self.bumper = bumper
        self.heard = False
        self.last_ms = 0
        self._first_seq = 0
        self._silent = False

    def note(self, seq, values):
        """A reading of this visit was stored."""
        self.note_reasons(seq, values["reasons"])
        self.heard = self.heard or values["verdict"] in (names.PASS, names.WEAK)

    def note_reasons(self, seq, reasons):
        """A reading of this visit is in the log; what it heard proves nothing any more."""
        self._first_seq = self._first_seq or seq
        self._silent = self._silent or bool(reasons & reason.NOTHING_HEARD)

    def trusted(self, readings):
        """Return readings (form of Visits.readings) without those of earlier visits, if this one met silence."""
        if not self._silent:
            return readings
        return [(values, seq) if seq >= self._first_seq else (None, 0) for values, seq in readings]


class Readings:
    """Takes readings at the app's place, and makes the bumper results.

    Between the press and the verdict stand only the listening and the reading's own record. Its waves and the bumper
    result are stored by after_verdict(), once the verdict has been shown or the next press has come.
    """

    def __init__(self, app):
        self._app = app
        self._last_mark = None
        self._unsettled = False
        self._visit = _Visit()
        self._waves = []
        self._settle_mark = None
        self._shown = True
        self._flash_ms = _FLASH_MS

    def read(self):
        """Read the current position and go on to the next, but stay after a RETRY: reading again is one press."""
        app = self._app
        place = app.place
        values = self._measure()
        if values is None:
            self._show_full()
            app.show_current()
            return
        app.panel.say(patterns.VERDICT_PATTERNS[values["verdict"]])
        app.say_doubts(values["reasons"])
        self._shown = False
        self._unsettled = True
        self._last_mark = place.mark()
        if values["verdict"] != names.RETRY:
            self._settle_mark = self._last_mark
            place.next_position()
            app.rest_on_current()

    def after_verdict(self):
        """Store what is left of the reading just shown, make the bumper result that is due, show the current place."""
        if self._shown:
            return
        self._shown = True
        self._store_waves()
        if self._settle_mark:
            place = self._app.place
            here = place.mark()
            place.go_back(self._settle_mark)
            self._settle_mark = None
            self._settle()
            place.go_back(here)
        self._app.show_current()

    def resume(self, unsettled, decided):
        """Go on after a start at the place of the newest reading.

        unsettled: no bumper result has followed it; decided: it was no RETRY, so that a result may be due.
        """
        self._last_mark = self._app.place.mark()
        self._unsettled = unsettled
        self._visit = _Visit(self._app.place.key(0))
        self._visit.last_ms = self._app.board.ticks_ms()
        for seq, reasons in self._app.visits.stay:
            self._visit.note_reasons(seq, reasons)
        if unsettled and decided:
            self._settle()

    def read_again(self):
        """Read the position of the last reading again."""
        if self._last_mark is None:
            self._app.panel.say("refused")
            return
        self._app.place.go_back(self._last_mark)
        self.read()

    def leave_bumper(self):
        """Make the result of a bumper that is left with readings not yet in one."""
        if self._unsettled:
            self._make_result(self._app.visits.readings(self._app.place))
        self.end_stay()

    def end_stay(self):
        """What was heard so far proves nothing of what is read next."""
        self._visit = _Visit()

    def forget(self):
        """A new round starts: no reading to repeat, no result due."""
        self._last_mark = None
        self._settle_mark = None
        self._unsettled = False
        self.end_stay()

    def _settle(self):
        found = self._app.visits.readings(self._app.place)
        if visits.complete(found) or self._app.place.at_last():
            self._make_result(found)

    def _measure(self):
        """Take and log one reading; return its values, or None when the log is full."""
        app = self._app
        board, place, limits = app.board, app.place, app.probe.limits
        pressed_ms = app.panel.gestures.pressed_ms
        app.panel.light(patterns.position_mask(place.bumper, place.position))
        taken = self._take(limits)
        values = taken.values
        if place.free:
            values["class_khz"] = nearest_class(values["frequency_hz"])
        values.update(self._circumstances(place, limits))
        values["battery_mv"] = board.battery_mv()
        values["temperature_ddeg"] = in_record_ddeg(board.temperature_ddeg())
        # The record cannot hold the time that storing it takes: the one before it stands for it.
        values["time_to_verdict_ms"] = min(board.ticks_ms() - pressed_ms + self._flash_ms, 65535)
        return self._store(taken)

    def _take(self, limits):
        app = self._app
        app.visits.enter_lap(app.place)
        if app.probe.failed:
            return reading.refused(app.doubts(), app.place.class_khz)
        self._stay(app.place.key(0), app.board.ticks_ms())
        limits_class = limits_for(limits, app.place.class_khz)
        return reading.take(app.board, limits_class, limits.in_force, self._visit.heard)

    def _stay(self, bumper, now_ms):
        """Go on with the stay at this bumper, or begin one."""
        if self._visit.bumper != bumper or now_ms - self._visit.last_ms > _STAY_MS:
            self._visit = _Visit(bumper)
        self._visit.last_ms = now_ms

    def _circumstances(self, place, limits):
        return {
            "round_id": place.round_id,
            "vehicle": place.vehicle,
            "bumper": place.bumper,
            "position": place.position,
            "positions": place.positions,
            "limits_revision": limits.revision,
            "supersedes_seq": self._app.visits.seq(place.key(place.position)),
        }

    def _store(self, taken):
        app = self._app
        started_ms = app.board.ticks_ms()
        try:
            seq = app.probe.log.append(records.READING, taken.values)
        except LogFull:
            return None
        self._flash_ms = app.board.ticks_ms() - started_ms
        app.visits.note(app.place.key(app.place.position), seq)
        self._visit.note(seq, taken.values)
        self._waves = [(records.SOUNDS, values, tail) for values, tail in taken.sounds]
        if taken.snippet:
            self._waves.append((records.SNIPPET,) + tuple(taken.snippet))
        for wave in self._waves:
            wave[1]["reading_seq"] = seq
        return taken.values

    def _store_waves(self):
        waves, self._waves = self._waves, []
        try:
            self._app.probe.log.append_all(waves)
        except LogFull:
            # The reading itself is safe; the log counts the waves it could not keep.
            return

    def _make_result(self, found):
        app = self._app
        self._unsettled = False
        found = self._visit.trusted(found)
        if not any(seq for _, seq in found):
            return
        values = visits.result_values(app.place, found, app.probe.limits.in_force)
        try:
            app.probe.log.append(records.BUMPER, values)
        except LogFull:
            self._show_full()
            return
        self._show_result(values, [seq > 0 for _, seq in found])

    def _show_result(self, values, read):
        panel = self._app.panel
        if values["result"] == names.BUMPER_NOT_TRANSMITTING:
            panel.say("not_transmitting")
        else:
            frames = patterns.result_frames(values["bumper"], values["verdicts"][: len(read)], read)
            panel.play(frames, patterns.RESULT_REPEATS)

    def _show_full(self):
        self._app.panel.say("log_full")
        self._app.panel.say("retry")
