"""One reading from the press to the pattern: measured, logged, and only then shown; and the bumper results."""

import gc

from curbtick_wire import names, records
from curbtick_wire._typing import Any, Mark, Record, Values
from curbtick_wire.classes import nearest_class
from micropython import const

from curbtick_probe import reason
from curbtick_probe.app import visits
from curbtick_probe.app.class_limits import limits_for
from curbtick_probe.app.display import Display
from curbtick_probe.app.doubts import Doubts
from curbtick_probe.app.place import Place
from curbtick_probe.app.temperature import in_record_ddeg
from curbtick_probe.bumper import reading
from curbtick_probe.hardware import Board
from curbtick_probe.link.service import Probe
from curbtick_probe.panel import patterns
from curbtick_probe.panel.panel import Panel
from curbtick_probe.store import supply
from curbtick_probe.store.log import LogFull

# What storing a reading takes, until one was stored.
_FLASH_MS = 60
# One stay at a bumper: readings further apart are of two, for the system may have been switched off between them.
_STAY_MS = const(300_000)


class _Visit:
    """One stay at a bumper: whether its system was heard to transmit, and whether a silent reading was taken.

    heard_us: the interval at which it was, 0 where it was not, 1 where it is not known.

    What was heard on an earlier visit proves nothing: the system may be switched off by now.
    """

    def __init__(self, bumper: int | None = None) -> None:
        self.bumper = bumper
        self.heard_us = 0
        self.last_ms = 0
        self._first_seq = 0
        self._silent = False

    def note(self, seq: int, values: Values) -> None:
        """A reading of this visit was stored."""
        self.note_reasons(seq, values["reasons"])
        if values["verdict"] == names.PASS:
            self.heard_us = values["interval_us"]
        elif values["verdict"] == names.WEAK:
            # Of a sensor that leaves bursts out the interval may be taken wrongly.
            irregular = values["reasons"] & reason.IRREGULAR
            self.heard_us = self.heard_us or (1 if irregular else values["interval_us"])

    def note_reasons(self, seq: int, reasons: int) -> None:
        """A reading of this visit is in the log; what it heard proves nothing any more."""
        self._first_seq = self._first_seq or seq
        self._silent = self._silent or bool(reasons & reason.NOTHING_HEARD)

    def trusted(self, readings: list[tuple[Values | None, int]]) -> list[tuple[Values | None, int]]:
        """Return readings (form of Visits.readings) without those of earlier visits, if this one met silence."""
        if not self._silent:
            return readings
        return [(values, seq) if seq >= self._first_seq else (None, 0) for values, seq in readings]


class Readings:
    """Takes readings at the current place, and makes the bumper results.

    Between the press and the verdict stand only the listening and the reading's own record. Its waves and the bumper
    result are stored by after_verdict(), once the verdict has been shown or the next press has come.
    """

    def __init__(
        self, board: Board, probe: Probe, panel: Panel, place: Place, display: Display, doubts: Doubts
    ) -> None:
        self._board = board
        self._probe = probe
        self._panel = panel
        self._place = place
        self._display = display
        self._doubts = doubts
        self._visits = visits.Visits(probe.log)
        # What was taken last, and its sequence number.
        self._stored: Any = None
        self._shown = True
        self._flash_ms = _FLASH_MS
        self._collect_bytes = gc.threshold()
        self._last_mark: Mark | None = None
        self._settle_mark: Mark | None = None
        self._forget()

    def enter_round(self) -> None:
        """Begin the place's round where its newest reading left off, and make the result that is due."""
        self._forget()
        place = self._place
        newest = self._visits.enter_round(place.round_id)
        if newest and place.find(newest["vehicle"], newest["bumper"], newest["position"]):
            decided = newest["verdict"] != names.RETRY
            self._resume(decided)
            if decided:
                place.next_position()

    def read(self) -> None:
        """Read the current position and go on to the next, but stay after a RETRY: reading again is one press."""
        place = self._place
        # A collection takes 25 ms, which the verdict need not wait for: none comes until after_verdict().
        gc.threshold(-1)
        values = self._measure()
        if values is None:
            gc.threshold(self._collect_bytes)
            self._show_full()
            self._display.show_current()
            return
        self._panel.say(names.VERDICTS[values["verdict"]])
        self._doubts.say(values["reasons"])
        self._shown = False
        self._unsettled = True
        self._last_mark = place.mark()
        if values["verdict"] != names.RETRY:
            self._settle_mark = self._last_mark
            place.next_position()
            self._display.rest_on_current()

    def after_verdict(self) -> None:
        """Store what is left of the reading just shown, make the bumper result that is due, show the current place."""
        if self._shown:
            return
        self._shown = True
        gc.threshold(self._collect_bytes)
        self._store_waves()
        if self._settle_mark:
            place = self._place
            here = place.mark()
            place.go_back(self._settle_mark)
            self._settle_mark = None
            self._settle()
            place.go_back(here)
        self._display.show_current()
        gc.collect()

    def _resume(self, decided: bool) -> None:
        """Go on after a start at the place of the newest reading.

        decided: it was no RETRY, so that a result may be due where none has followed it.
        """
        self._last_mark = self._place.mark()
        self._unsettled = self._visits.unsettled
        self._visit = _Visit(self._place.key(0))
        self._visit.last_ms = self._board.ticks_ms()
        for seq, reasons in self._visits.stay:
            self._visit.note_reasons(seq, reasons)
        if self._unsettled and decided:
            self._settle()

    def read_again(self) -> None:
        """Read the position of the last reading again."""
        if self._last_mark is None:
            self._panel.say("refused")
            return
        self._place.go_back(self._last_mark)
        self.read()

    def leave_bumper(self) -> None:
        """Make the result of a bumper that is left with readings not yet in one."""
        if self._unsettled:
            self._make_result(self._visits.readings(self._place))
        self.end_stay()

    def end_stay(self) -> None:
        """What was heard so far proves nothing of what is read next."""
        self._visit = _Visit()

    def _forget(self) -> None:
        """A new round starts: no reading to repeat, no result due."""
        self._last_mark = None
        self._settle_mark = None
        self._unsettled = False
        self.end_stay()

    def _settle(self) -> None:
        found = self._visits.readings(self._place)
        if visits.complete(found) or self._place.at_last():
            self._make_result(found)

    def _measure(self) -> Values | None:
        """Take and log one reading; return its values, or None when the log is full."""
        board, place = self._board, self._place
        pressed_ms = self._panel.gestures.pressed_ms
        self._display.light_current()
        taken = self._take()
        values: Values = taken.values
        if place.free:
            values["class_khz"] = nearest_class(values["frequency_hz"])
        values.update(self._circumstances())
        values["battery_mv"] = board.battery_mv()
        values["temperature_ddeg"] = in_record_ddeg(board.temperature_ddeg())
        # The record cannot hold the time that storing it takes: the one before it stands for it.
        values["time_to_verdict_ms"] = min(board.ticks_ms() - pressed_ms + self._flash_ms, 65535)
        return self._store(taken)

    def _take(self) -> Any:
        place, limits = self._place, self._probe.limits
        self._visits.enter_lap(place)
        if self._probe.failed:
            return reading.refused(self._doubts.reasons(), place.class_khz)
        self._stay(place.key(0), self._board.ticks_ms())
        limits_class = limits_for(limits, place.class_khz)
        return reading.take(self._board, limits_class, limits.current, self._visit.heard_us)

    def _stay(self, bumper: int, now_ms: int) -> None:
        """Go on with the stay at this bumper, or begin one."""
        if self._visit.bumper != bumper or now_ms - self._visit.last_ms > _STAY_MS:
            self._visit = _Visit(bumper)
        self._visit.last_ms = now_ms

    def _circumstances(self) -> Values:
        place = self._place
        return {
            "round_id": place.round_id,
            "vehicle": place.vehicle,
            "bumper": place.bumper,
            "position": place.position,
            "positions": place.positions,
            "limits_revision": self._probe.limits.revision,
            "calibration_revision": self._probe.calibration.revision,
            "supersedes_seq": self._visits.seq(place.key(place.position)),
        }

    def _store(self, taken: Any) -> Values | None:
        values: Values = taken.values
        started_ms = self._board.ticks_ms()
        try:
            seq = self._probe.log.append(records.READING, values)
        except LogFull:
            return None
        self._flash_ms = self._board.ticks_ms() - started_ms
        self._visits.note(self._place.key(self._place.position), seq)
        self._visit.note(seq, values)
        self._stored = taken, seq
        return values

    def _store_waves(self) -> None:
        # What was taken holds on to the buffers that a check needs the room of.
        stored, self._stored = self._stored, None
        waves = _waves_of(*stored)
        try:
            self._probe.log.append_all(waves)
        except LogFull:
            # The reading itself is safe; the log counts the waves it could not keep.
            return

    def _make_result(self, found: list[tuple[Values | None, int]]) -> None:
        self._unsettled = False
        found = self._visit.trusted(found)
        if not any(seq for _, seq in found):
            return
        values = visits.result_values(self._place, found, self._probe.limits.current)
        try:
            self._probe.log.append(records.BUMPER, values)
        except LogFull:
            self._show_full()
            return
        self._show_result(values, [seq > 0 for _, seq in found])

    def _show_result(self, values: Values, read: list[bool]) -> None:
        panel = self._panel
        if values["result"] == names.BUMPER_NOT_TRANSMITTING:
            panel.say("not_transmitting")
        else:
            frames = patterns.result_frames(values["bumper"], values["verdicts"][: len(read)], read)
            panel.play(frames, patterns.RESULT_REPEATS)

    def _show_full(self) -> None:
        self._panel.say("log_full" if supply.is_enough() else "battery_low")
        self._panel.say("retry")


def _waves_of(taken: Any, seq: int) -> list[Record]:
    """The records of the sounds and the strongest burst of a reading that was stored under a sequence number."""
    waves = [(records.SOUNDS, part, tail) for part, tail in taken.sounds]
    snippet = taken.snippet
    if snippet:
        waves.append((records.SNIPPET,) + tuple(snippet))
    for _kind, part, _tail in waves:
        part["reading_seq"] = seq
    return waves
