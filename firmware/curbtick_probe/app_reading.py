"""One reading from the press to the pattern: measured, logged, and only then shown; and the bumper results."""

from curbtick_wire import names, records

from curbtick_probe import app_bumper, patterns, reading
from curbtick_probe.app_limits import limits_for, nearest_class
from curbtick_probe.log import LogFull

_LOG_FULL = 1 << names.REASONS.index("log_full")
_BATTERY_LOW = 1 << names.REASONS.index("battery_low")
_MICROPHONE_FAULT = 1 << names.REASONS.index("microphone_fault")
_NOTHING_HEARD = 1 << names.REASONS.index("nothing_heard")


class Readings:
    """Takes readings at the app's place, and makes the bumper results."""

    def __init__(self, app):
        self._app = app
        self._last_mark = None
        self._unsettled = False

    def read(self):
        """Read the current position and go on to the next, unless the reading has to be taken again."""
        app = self._app
        values = self._measure()
        if values is None:
            self._show_full()
            return
        app.panel.say(patterns.VERDICT_PATTERNS[values["verdict"]])
        if values["reasons"] & _BATTERY_LOW:
            app.panel.say("battery_low")
        self._last_mark = app.place.mark()
        self._unsettled = True
        if values["verdict"] != names.RETRY or values["reasons"] & _NOTHING_HEARD:
            self._settle()
            app.place.next_position()
        app.show_current()

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

    def forget(self):
        """A new round starts: no reading to repeat, no result due."""
        self._last_mark = None
        self._unsettled = False

    def _settle(self):
        found = self._app.visits.readings(self._app.place)
        if app_bumper.complete(found) or self._app.place.at_last():
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
        values["temperature_ddeg"] = board.temperature_ddeg()
        values["time_to_verdict_ms"] = min(board.ticks_ms() - pressed_ms, 65535)
        return self._store(taken)

    def _take(self, limits):
        app = self._app
        if app.board.battery_mv() < limits.in_force["battery_min_mv"]:
            return reading.refused(_BATTERY_LOW, app.place.class_khz)
        if app.probe.failed:
            return reading.refused(_MICROPHONE_FAULT, app.place.class_khz)
        heard = app_bumper.heard_before(app.visits.readings(app.place))
        return reading.take(app.board, limits_for(limits, app.place.class_khz), limits.in_force, heard)

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
        log = self._app.probe.log
        try:
            seq = log.append(records.READING, taken.values)
        except LogFull:
            return None
        place = self._app.place
        self._app.visits.note(place.key(place.position), seq)
        self._store_waves(log, seq, taken)
        return taken.values

    def _store_waves(self, log, seq, taken):
        items = [(records.SOUNDS, values, tail) for values, tail in taken.sounds]
        if taken.snippet:
            items.append((records.SNIPPET,) + tuple(taken.snippet))
        for item in items:
            item[1]["reading_seq"] = seq
        try:
            log.append_all(items)
        except LogFull:
            # The reading itself is safe; the log counts the waves it could not keep.
            return

    def _make_result(self, found):
        app = self._app
        self._unsettled = False
        if not any(seq for _, seq in found):
            return
        values = app_bumper.result_values(app.place, found, app.probe.limits.in_force)
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
        self._app.show_current()
