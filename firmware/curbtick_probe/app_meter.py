"""The live meter of a seal or a hiss check: listens, draws the bar, and watches the buttons between blocks."""

from curbtick_wire import names

from curbtick_probe import patterns


class TappedCapture:
    """A capture that calls `tap` after each block, so that a press is seen within 4 ms."""

    def __init__(self, capture, tap):
        self._capture = capture
        self._tap = tap
        self.start = capture.start
        self.stop = capture.stop

    def block(self):
        """Return the next block, as the board's capture does."""
        block = self._capture.block()
        self._tap()
        return block

    @property
    def overruns(self):
        """Blocks lost, as the board's capture counts them."""
        return self._capture.overruns


class Ears:
    """What a check needs of a board."""

    def __init__(self, board, tap):
        self.capture = TappedCapture(board.capture, tap)
        self.battery_mv = board.battery_mv


class Meter:
    """One check on one vehicle. Listening runs only inside next_gesture() and reference()."""

    def __init__(self, app, check):
        self._app = app
        self._gestures = []
        self._odd = 0
        limits = app.probe.limits.in_force
        ears = Ears(app.board, self._tap)
        if check == names.CHECK_SEAL:
            from curbtick_probe import seal

            self._check = seal.SealCheck(ears, seal.DEFAULT_TONE_HZ, limits)
        else:
            from curbtick_probe import hiss

            self._check = hiss.HissCheck(ears, limits)

    @property
    def ready(self):
        """Whether the check has its reference or background."""
        return self._check.ready

    def next_gesture(self):
        """Show the meter until a gesture or a word of the app's poll()."""
        self._check.start()
        word = None
        while not word:
            self._check.update()
            self._draw()
            word = self._gestures.pop(0) if self._gestures else self._app.poll()
        self._check.stop()
        return word

    def reference(self):
        """Take the reference or the background; return the values of the sections it settles."""
        self._check.start()
        settled = self._check.reference()
        self._check.stop()
        return settled or []

    def mark(self):
        """Close the section; return its values."""
        return self._check.mark()

    def response(self):
        """Change between slow and fast response."""
        self._check.response()

    def _tap(self):
        gesture = self._app.panel.gesture()
        if gesture:
            self._gestures.append(gesture)

    def _draw(self):
        self._odd ^= 1
        check = self._check
        masks = patterns.METER_PATTERNS.get(check.STATUSES[check.status])
        self._app.panel.light(masks[self._odd] if masks else patterns.meter_mask(check.leds, check.dot))
