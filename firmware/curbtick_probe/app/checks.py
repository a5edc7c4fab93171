"""The seal and the hiss check on the panel: a live meter, marks, and their records."""

import gc

from curbtick_wire import names, records
from curbtick_wire._typing import Any, Values

from curbtick_probe import reason
from curbtick_probe.app import modules
from curbtick_probe.app.doubts import Doubts
from curbtick_probe.app.meters.meter import HissMeter, SealMeter
from curbtick_probe.app.place import Place
from curbtick_probe.bumper import reading
from curbtick_probe.hardware import Board
from curbtick_probe.link.service import Probe
from curbtick_probe.panel import patterns
from curbtick_probe.panel.panel import Panel
from curbtick_probe.store.log import LogFull

_KINDS = {names.CHECK_SEAL: records.SEAL, names.CHECK_HISS: records.HISS}
# Each check's verdicts, whose words are the names of their patterns.
_VERDICTS = {names.CHECK_SEAL: names.SEAL_VERDICTS, names.CHECK_HISS: names.HISS_VERDICTS}
# The first verdict of both checks.
_RETRY = 0


class Checks:
    """Which check is current, and the meter of a seal or a hiss check while it is."""

    def __init__(self, board: Board, probe: Probe, panel: Panel, place: Place, doubts: Doubts) -> None:
        self._board = board
        self._probe = probe
        self._panel = panel
        self._place = place
        self._doubts = doubts
        self._meter: Any = None
        self._kept = modules.loaded()
        self.current = names.CHECK_BUMPER

    def next_check(self) -> None:
        """Change from the bumper to the seal to the hiss check and back."""
        self.current = (self.current + 1) % len(names.CHECKS)
        self._panel.gestures.check = names.CHECKS[self.current]
        self._panel.say(patterns.CHECK_PATTERNS[self.current])
        if self._meter:
            self._meter.release()
        self._meter = None
        modules.give_back(self._kept)
        self.enter_vehicle()

    def enter_vehicle(self) -> None:
        """Begin the current check anew: another vehicle has its own reference."""
        if self.current == names.CHECK_BUMPER:
            return
        # The bar answers first: a check's tables take a chip a second.
        self._panel.finish()
        limit_set = self._probe.limits.current
        if self._meter:
            self._meter.begin(limit_set)
        else:
            reading.release()
            gc.collect()
            kind = SealMeter if self.current == names.CHECK_SEAL else HissMeter
            self._meter = kind(self._board, self._panel, limit_set)

    def next_gesture(self, poll: Any) -> str | None:
        """Run the meter until a gesture or a word of poll(); None in the bumper check, which has no meter."""
        return self._meter.next_gesture(poll) if self._meter else None

    def mark(self) -> None:
        """Take the reference where there is none, else close the section and log it."""
        if not self._meter.ready():
            self.reference()
        else:
            values = self._meter.mark()
            if values:
                self._log(values)
            else:
                self._panel.say("mark")

    def reference(self) -> None:
        """Take the reference or the background; in the seal check it settles the sections marked before."""
        for values in self._meter.reference():
            self._log(values)
        self._panel.say("mark" if self._meter.ready() else "retry")
        self._panel.finish()

    def response(self) -> None:
        """Change between slow and fast response."""
        self._meter.response()
        self._panel.say("mark")
        self._panel.finish()

    def _log(self, values: Values) -> None:
        """Log a section's values with the round and vehicle, then show its verdict."""
        panel = self._panel
        values["round_id"] = self._place.round_id
        values["vehicle"] = self._place.vehicle
        values["calibration_revision"] = self._probe.calibration.revision
        doubts = self._doubts.reasons()
        if doubts:
            values["verdict"] = _RETRY
            values["reasons"] |= doubts
        try:
            self._probe.log.append(_KINDS[self.current], values)
            panel.say("mark" if _unsettled(values) else _VERDICTS[self.current][values["verdict"]])
            self._doubts.say(values["reasons"])
        except LogFull:
            panel.say("log_full")
            panel.say("retry")
        panel.finish()


def _unsettled(values: Values) -> bool:
    """Whether a section only waits for its reference to be confirmed."""
    return bool(values["reasons"] == reason.NO_REFERENCE)
