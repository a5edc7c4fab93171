"""The seal and the hiss check on the panel: a live meter, marks, and their records."""

import gc

from curbtick_wire import names, records

from curbtick_probe import reason
from curbtick_probe.app import modules
from curbtick_probe.app.meter import Meter
from curbtick_probe.bumper import reading
from curbtick_probe.panel import patterns
from curbtick_probe.store.log import LogFull

_KINDS = {names.CHECK_SEAL: records.SEAL, names.CHECK_HISS: records.HISS}
# The first verdict of both checks.
_RETRY = 0
_VERDICT_PATTERNS = {
    names.CHECK_SEAL: ("retry", "tight", "leak"),
    names.CHECK_HISS: ("retry", "quiet", "hiss", "tone"),
}


class Checks:
    """Which check is current, and the meter of a seal or a hiss check while it is."""

    def __init__(self, app):
        self._app = app
        self._meter = None
        self._kept = modules.loaded()
        self.current = names.CHECK_BUMPER

    def next_check(self):
        """Change from the bumper to the seal to the hiss check and back."""
        self.current = (self.current + 1) % len(names.CHECKS)
        self._app.panel.gestures.check = names.CHECKS[self.current]
        self._app.panel.say(patterns.CHECK_PATTERNS[self.current])
        self._meter = None
        self._app.readings.end_stay()
        modules.give_back(self._kept)
        self.enter_vehicle()
        self._app.show_current()

    def enter_vehicle(self):
        """Begin the current check anew: another vehicle has its own reference."""
        self._meter = None
        if self.current != names.CHECK_BUMPER:
            # The bar answers first: a check's tables take a chip a second.
            self._app.panel.finish()
            reading.release()
            gc.collect()
            self._meter = Meter(self._app, self.current)

    def next_gesture(self):
        """Run the meter until a gesture or a word of poll(); None in the bumper check, which has no meter."""
        return self._meter.next_gesture() if self._meter else None

    def mark(self):
        """Take the reference where there is none, else close the section and log it."""
        if not self._meter.ready:
            self.reference()
        else:
            values = self._meter.mark()
            if values:
                self._log(values)
            else:
                self._app.panel.say("mark")

    def reference(self):
        """Take the reference or the background; in the seal check it settles the sections marked before."""
        for values in self._meter.reference():
            self._log(values)
        self._app.panel.say("mark" if self._meter.ready else "retry")
        self._app.panel.finish()

    def response(self):
        """Change between slow and fast response."""
        self._meter.response()
        self._app.panel.say("mark")
        self._app.panel.finish()

    def _log(self, values):
        """Log a section's values with the round and vehicle, then show its verdict."""
        panel = self._app.panel
        values["round_id"] = self._app.place.round_id
        values["vehicle"] = self._app.place.vehicle
        doubts = self._app.doubts()
        if doubts:
            values["verdict"] = _RETRY
            values["reasons"] |= doubts
        try:
            self._app.probe.log.append(_KINDS[self.current], values)
            panel.say("mark" if _unsettled(values) else _VERDICT_PATTERNS[self.current][values["verdict"]])
            self._app.say_doubts(values["reasons"])
        except LogFull:
            panel.say("log_full")
            panel.say("retry")
        panel.finish()


def _unsettled(values):
    """Whether a section only waits for its reference to be confirmed."""
    return values["reasons"] == reason.NO_REFERENCE
