"""The live meter of a seal or a hiss check: listens, draws the bar, and watches the buttons between blocks."""

from curbtick_wire import sampling
from curbtick_wire._typing import Any, Callable, Ints, Values

from curbtick_probe.app.meters.touches import Touches
from curbtick_probe.hardware import Blocks, Board
from curbtick_probe.listening import SPOILED
from curbtick_probe.panel import patterns
from curbtick_probe.panel.panel import Panel


class TappedCapture:
    """A capture that calls `tap` after each block, so that a press is seen within 4 ms."""

    def __init__(self, capture: Blocks, tap: Callable[[], None]) -> None:
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


class TappedEars:
    """What a check needs of a board."""

    def __init__(self, board: Board, tap: Callable[[], None]) -> None:
        self.capture = TappedCapture(board.capture, tap)
        self.battery_mv = board.battery_mv


class Meter:
    """One check on one vehicle. Listening runs only inside next_gesture() and reference().

    The converter rests while flash may be written: the bench is served, and a press is followed to its end, only
    between two listenings. A listening ends with the update (0.2 s) in which a button is touched or the bench sends
    something.

    What each check adds: `word()`, what the bar should say, one of the check's statuses; `take_reference()`, what
    reference() does.
    """

    _check: Any
    word: Callable[[], str]
    take_reference: Callable[[], list[Values]]

    def __init__(self, board: Board, panel: Panel) -> None:
        self._panel = panel
        self._serial = board.serial
        self._touches = Touches(board, panel)
        self.ears = TappedEars(board, self._touches.look)
        self._gestures: list[str] = []
        self._odd = 0

    def begin(self, limit_set: Values) -> None:
        """Begin the check anew on another vehicle. limit_set: the set in force."""
        self._check.begin(limit_set)

    def release(self) -> None:
        """Let go of the check's buffers, before another check needs their room.

        The collector also follows what the stack still holds of calls that have returned; one such word would keep
        them.
        """
        self._check.meter = self._check.capture = None
        self._check = None

    def next_gesture(self, poll: Callable[[], str | None]) -> str:
        """Show the meter until a gesture or a word of poll()."""
        self._panel.finish()
        while True:
            word = self._gestures.pop(0) if self._gestures else self._panel.follow_press(poll)
            if word:
                return word
            self._listen()

    def _listen(self) -> None:
        """Listen, and draw the bar, until a button is touched or the bench sends something."""
        check, touches, serial = self._check, self._touches, self._serial
        touches.begin()
        try:
            check.start()
            while not (touches.count or serial.any()):
                check.update()
                self._draw()
        except SPOILED:
            check.lose()
        finally:
            check.stop()
        if not touches.count:
            check.pause()
        self._gestures = touches.gestures()

    def reference(self) -> list[Values]:
        """Take the reference or the background; return the values of the sections it settles."""
        self._panel.light(patterns.METER_PATTERNS["no_reference"][0])
        self._touches.begin()
        settled = self.take_reference()
        self._gestures += self._touches.gestures()
        return settled

    def _draw(self) -> None:
        self._odd ^= 1
        check = self._check
        masks = patterns.METER_PATTERNS.get(self.word())
        self._panel.light(masks[self._odd] if masks else patterns.meter_mask(check.leds, check.dot))


class SealMeter(Meter):
    """The meter of the seal check.

    The first mark after a reference begins the first section, at the seal: the way there, past the source, is no
    part of any section. Each later mark closes one section and begins the next.
    """

    def __init__(self, board: Board, panel: Panel, limit_set: Values) -> None:
        """limit_set: the set in force."""
        super().__init__(board, panel)
        from curbtick_probe.seal import check as seal

        self._check = seal.SealCheck(self.ears, sampling.TONE_HZ, limit_set)
        self._statuses = seal.STATUSES
        self._at_seal = False

    def begin(self, limit_set: Values) -> None:
        """Begin anew; the next mark is the first one again."""
        self._at_seal = False
        super().begin(limit_set)

    def word(self) -> str:
        """What the bar should say: one of the check's statuses."""
        word: str = self._statuses[self._check.status]
        return word

    def ready(self) -> bool:
        """Whether the free reference was taken."""
        return self._check.reference_cdb is not None

    def take_reference(self) -> list[Values]:
        """Take or confirm the reference; return the values of the sections that it settles."""
        self._at_seal = False
        settled: list[Values] = self._check.reference()
        return settled

    def mark(self) -> Values | None:
        """Close the section and return its values, or begin the first one and return None."""
        if self._at_seal:
            values: Values = self._check.mark()
            return values
        self._at_seal = True
        section = self._check.section
        self._check.section = type(section)(section.number)
        return None

    def response(self) -> None:
        """The seal check has but one response."""


class HissMeter(Meter):
    """The meter of the hiss check."""

    def __init__(self, board: Board, panel: Panel, limit_set: Values) -> None:
        """limit_set: the set in force."""
        super().__init__(board, panel)
        from curbtick_probe.hiss import check as hiss

        self._check = hiss.HissCheck(self.ears, limit_set)
        self._statuses = hiss.STATUSES

    def word(self) -> str:
        """What the bar should say: one of the check's statuses."""
        word: str = self._statuses[self._check.told]
        return word

    def ready(self) -> bool:
        """Whether the background is known."""
        return self._check.known is not None

    def take_reference(self) -> list[Values]:
        """Learn the background; it settles no section."""
        self._check.background()
        return []

    def mark(self) -> Values | None:
        """Close the section and return its values."""
        values: Values = self._check.mark()
        return values

    def response(self) -> None:
        """Change between slow and fast response."""
        self._check.fast = not self._check.fast
