"""The live meter of a seal or a hiss check: listens, draws the bar, and watches the buttons between blocks."""

from curbtick_wire import names, sampling
from curbtick_wire._typing import Any, Ints, Values

from curbtick_probe.hardware import Board, Capture
from curbtick_probe.panel import patterns
from curbtick_probe.panel.panel import Panel


class TappedCapture:
    """A capture that calls `tap` after each block, so that a press is seen within 4 ms."""

    def __init__(self, capture: Capture, tap: Any) -> None:
        self._capture = capture
        self._tap = tap
        self.start = capture.start
        self.stop = capture.stop

    def block(self) -> Ints:
        """Return the next block, as the board's capture does."""
        block = self._capture.block()
        self._tap()
        return block

    @property
    def overruns(self) -> int:
        """Blocks lost, as the board's capture counts them."""
        return self._capture.overruns


class Ears:
    """What a check needs of a board."""

    def __init__(self, board: Board, tap: Any) -> None:
        self.capture = TappedCapture(board.capture, tap)
        self.battery_mv = board.battery_mv


class Seal:
    """The seal check in the form that Meter runs.

    The first mark after a reference begins the first section, at the seal: the way there, past the source, is no
    part of any section. Each later mark closes one section and begins the next.
    """

    def __init__(self, ears: Ears, limit_set: Values) -> None:
        from curbtick_probe.seal import check as seal

        self.check: Any = seal.SealCheck(ears, sampling.TONE_HZ, limit_set)
        self.statuses = seal.STATUSES
        self._at_seal = False

    @property
    def word(self) -> str:
        """What the bar should say: one of the check's statuses."""
        return self.statuses[self.check.status]

    @property
    def ready(self) -> bool:
        """Whether the free reference was taken."""
        return self.check.reference_cdb is not None

    def reference(self) -> Any:
        """Take or confirm the reference; return the values of the sections that it settles."""
        self._at_seal = False
        return self.check.reference()

    def mark(self) -> Values | None:
        """Close the section and return its values, or begin the first one and return None."""
        if self._at_seal:
            values: Values = self.check.mark()
            return values
        self._at_seal = True
        section = self.check.section
        self.check.section = type(section)(section.number)
        return None

    def response(self) -> None:
        """The seal check has but one response."""


class Hiss:
    """The hiss check in the form that Meter runs."""

    def __init__(self, ears: Ears, limit_set: Values) -> None:
        from curbtick_probe.hiss import check as hiss

        self.check: Any = hiss.HissCheck(ears, limit_set)
        self.statuses = hiss.STATUSES

    @property
    def word(self) -> str:
        """What the bar should say: one of the check's statuses."""
        return self.statuses[self.check.told]

    @property
    def ready(self) -> bool:
        """Whether the background is known."""
        return self.check.known is not None

    def reference(self) -> Any:
        """Learn the background; it settles no section."""
        self.check.background()
        return ()

    def mark(self) -> Values | None:
        """Close the section and return its values."""
        values: Values = self.check.mark()
        return values

    def response(self) -> None:
        """Change between slow and fast response."""
        self.check.fast = not self.check.fast


class Meter:
    """One check on one vehicle. Listening runs only inside next_gesture() and reference()."""

    def __init__(self, board: Board, panel: Panel, check: int, limit_set: Values) -> None:
        """check: names.CHECK_SEAL or CHECK_HISS; limit_set: the set in force."""
        self._panel = panel
        self._gestures: list[str] = []
        self._odd = 0
        kind: Any = Seal if check == names.CHECK_SEAL else Hiss
        self._kind = kind(Ears(board, self._tap), limit_set)
        self._check = self._kind.check

    @property
    def ready(self) -> bool:
        """Whether the check has its reference or background."""
        ready: bool = self._kind.ready
        return ready

    def next_gesture(self, poll: Any) -> str:
        """Show the meter until a gesture or a word of poll()."""
        self._panel.finish()
        self._check.start()
        word = None
        while not word:
            self._check.update()
            self._draw()
            word = self._gestures.pop(0) if self._gestures else poll()
        self._check.stop()
        return word

    def reference(self) -> Any:
        """Take the reference or the background; return the values of the sections it settles."""
        self._panel.light(patterns.METER_PATTERNS["no_reference"][0])
        self._check.start()
        settled = self._kind.reference()
        self._check.stop()
        return settled

    def mark(self) -> Values | None:
        """Close the section and return its values, or begin the first one and return None."""
        values: Values | None = self._kind.mark()
        return values

    def response(self) -> None:
        """Change between slow and fast response."""
        self._kind.response()

    def _tap(self) -> None:
        gesture = self._panel.gesture()
        if gesture:
            self._gestures.append(gesture)

    def _draw(self) -> None:
        self._odd ^= 1
        check = self._check
        masks = patterns.METER_PATTERNS.get(self._kind.word)
        self._panel.light(masks[self._odd] if masks else patterns.meter_mask(check.leds, check.dot))
