"""The live meter of a seal or a hiss check: listens, draws the bar, and watches the buttons between blocks."""

from curbtick_wire import names

from curbtick_probe.panel import patterns

# What `curbtick tone` plays unless told otherwise.
SEAL_TONE_HZ = 15_000


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


class Seal:
    """The seal check in the form that Meter runs.

    The first mark after a reference begins the first section, at the seal: the way there, past the source, is no
    part of any section. Each later mark closes one section and begins the next.
    """

    def __init__(self, ears, limit_set):
        from curbtick_probe.seal import check as seal

        self.check = seal.SealCheck(ears, SEAL_TONE_HZ, limit_set)
        self.statuses = seal.STATUSES
        self._new_section = seal.Section
        self._at_seal = False

    @property
    def word(self):
        """What the bar should say: one of the check's statuses."""
        return self.statuses[self.check.status]

    @property
    def ready(self):
        """Whether the free reference was taken."""
        return self.check.reference_cdb is not None

    def reference(self):
        """Take or confirm the reference; return the values of the sections that it settles."""
        self._at_seal = False
        return self.check.reference()

    def mark(self):
        """Close the section and return its values, or begin the first one and return None."""
        if self._at_seal:
            return self.check.mark()
        self._at_seal = True
        self.check.section = self._new_section(self.check.section.number)
        return None

    def response(self):
        """The seal check has but one response."""


class Hiss:
    """The hiss check in the form that Meter runs."""

    def __init__(self, ears, limit_set):
        from curbtick_probe.hiss import check as hiss

        self.check = hiss.HissCheck(ears, limit_set)
        self.statuses = hiss.STATUSES

    @property
    def word(self):
        """What the bar should say: one of the check's statuses."""
        return self.statuses[self.check.told]

    @property
    def ready(self):
        """Whether the background is known."""
        return self.check.known is not None

    def reference(self):
        """Learn the background; it settles no section."""
        self.check.background()
        return ()

    def mark(self):
        """Close the section and return its values."""
        return self.check.mark()

    def response(self):
        """Change between slow and fast response."""
        self.check.fast = not self.check.fast


class Meter:
    """One check on one vehicle. Listening runs only inside next_gesture() and reference()."""

    def __init__(self, app, check):
        self._app = app
        self._gestures = []
        self._odd = 0
        kind = Seal if check == names.CHECK_SEAL else Hiss
        self._kind = kind(Ears(app.board, self._tap), app.probe.limits.in_force)
        self._check = self._kind.check

    @property
    def ready(self):
        """Whether the check has its reference or background."""
        return self._kind.ready

    def next_gesture(self):
        """Show the meter until a gesture or a word of the app's poll()."""
        self._app.panel.finish()
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
        self._app.panel.light(patterns.METER_PATTERNS["no_reference"][0])
        self._check.start()
        settled = self._kind.reference()
        self._check.stop()
        return settled

    def mark(self):
        """Close the section and return its values, or begin the first one and return None."""
        return self._kind.mark()

    def response(self):
        """Change between slow and fast response."""
        self._kind.response()

    def _tap(self):
        gesture = self._app.panel.gesture()
        if gesture:
            self._gestures.append(gesture)

    def _draw(self):
        self._odd ^= 1
        check = self._check
        masks = patterns.METER_PATTERNS.get(self._kind.word)
        self._app.panel.light(masks[self._odd] if masks else patterns.meter_mask(check.leds, check.dot))
