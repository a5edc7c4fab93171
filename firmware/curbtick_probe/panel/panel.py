"""What the technician sees, hears and presses: plays patterns on the bar and waits for gestures."""

from curbtick_wire import virtual
from curbtick_wire._typing import Callable, Pairs

from curbtick_probe.hardware import Board
from curbtick_probe.panel import patterns
from curbtick_probe.panel.gestures import Gestures

# The bar goes dark after so many waits with nothing to do, to spare the battery.
DARK_WAITS = 12
# What poll() says while a bench is served.
BUSY = "busy"


class Panel:
    """The bar, the beeper and the two buttons of a board.

    held: the buttons as they were last looked at.

    Patterns are queued and play one after the other; then the bar rests on `rest`. Pressing a button cuts them short.
    """

    def __init__(self, board: Board) -> None:
        self.gestures = Gestures()
        self._board = board
        self._rest = 0
        self._queue: list[tuple[Pairs, int, Pairs]] = []
        self._frames: Pairs = ()
        self._beeps: Pairs = ()
        self._place = 0
        self._repeats = 0
        self._until_ms = 0
        self._idle_waits = 0
        self.held = 0
        self._shown = -1

    @property
    def resting(self) -> bool:
        """Whether nothing plays, nothing is queued, and no press is under way."""
        return not self._frames and not self._queue and self.gestures.idle

    def rest_on(self, mask: int) -> None:
        """Set what the bar shows when nothing else does."""
        self._rest = mask
        if not self._frames and not self._queue:
            self._show(mask)

    def say(self, name: str) -> None:
        """Queue a pattern of patterns.PATTERNS by its name."""
        frames, repeats, beeps = patterns.pattern(name)
        self.play(frames, repeats, beeps)

    def play(self, frames: Pairs, repeats: int = 1, beeps: Pairs = ()) -> None:
        """Queue frames of (mask, duration_ms), to be shown repeats times."""
        self._queue.append((frames, repeats, beeps))

    def cut(self) -> None:
        """Drop what plays and what is queued; the bar rests."""
        self._queue.clear()
        self._frames = ()
        self._show(self._rest)

    def light(self, mask: int) -> None:
        """Drop everything and show a mask at once; for meters and while listening, when nothing may be allocated."""
        if self._queue:
            # Emptying a list gives it new room.
            self._queue.clear()
        self._frames = ()
        self._show(mask)

    def finish(self) -> None:
        """Play all that is queued to its end, without looking at the buttons."""
        while True:
            wait_ms = self._advance(self._board.ticks_ms())
            if wait_ms is None:
                return
            self._board.buttons()
            self._board.wait(wait_ms, False)

    def gesture(self) -> str | None:
        """Look at the buttons once; return a gesture or None."""
        return self.take(self._board.buttons(), self._board.ticks_ms())

    def take(self, mask: int, now_ms: int) -> str | None:
        """Take the buttons as they were at a time; return a gesture or None."""
        if mask and not self.held:
            self._idle_waits = 0
            self.cut()
        self.held = mask
        return self.gestures.update(mask, now_ms)

    def next_gesture(self, poll: Callable[[], str | None]) -> str:
        """Play the queue and wait; call poll() at every wake. Return a gesture, or what poll() says.

        While poll() says BUSY, the queue plays on and the buttons are looked at.
        """
        while True:
            word = poll()
            gesture = self.gesture() if not word or word == BUSY else None
            heard = gesture or word
            if heard:
                if word == BUSY:
                    self._advance(self._board.ticks_ms())
                return heard
            self._wait()

    def follow_press(self, poll: Callable[[], str | None]) -> str | None:
        """Return a gesture, or what poll() says, as next_gesture() does; None as soon as no press is under way."""
        while True:
            heard = self.gesture() or poll()
            if heard or self.gestures.idle:
                return heard
            self._wait()

    def _wait(self) -> None:
        now_ms = self._board.ticks_ms()
        played = bool(self._frames or self._queue)
        next_frame_ms = self._advance(now_ms)
        if played and next_frame_ms is None:
            # It is over: whoever waited for that in poll() comes first.
            return
        deadlines = (next_frame_ms, self.gestures.deadline_ms(now_ms))
        waits = [wait_ms for wait_ms in deadlines if wait_ms is not None]
        if not waits:
            self._grow_dark()
        self._board.wait(min(waits) if waits else virtual.IDLE_MS)

    def _grow_dark(self) -> None:
        self._idle_waits += 1
        if self._idle_waits > DARK_WAITS:
            self._show(0)

    def _advance(self, now_ms: int) -> int | None:
        """Show the frame that is due; return in how many ms the next one is, or None when the bar rests."""
        while True:
            if not self._frames and not self._next_pattern(now_ms):
                return None
            if now_ms < self._until_ms:
                return self._until_ms - now_ms
            if self._place == len(self._frames):
                self._round_over()
            else:
                now_ms = self._next_frame(now_ms)

    def _next_pattern(self, now_ms: int) -> bool:
        if not self._queue:
            return False
        self._frames, self._repeats, self._beeps = self._queue.pop(0)
        self._place = 0
        self._until_ms = now_ms
        return True

    def _round_over(self) -> None:
        self._place = 0
        self._repeats -= 1
        if self._repeats <= 0:
            self._frames = ()
            self._show(self._rest)

    def _next_frame(self, now_ms: int) -> int:
        mask, duration_ms = self._frames[self._place]
        self._place += 1
        self._show(mask)
        self._until_ms = now_ms + duration_ms
        if mask and self._beeps:
            frequency_hz, beep_ms = self._beeps[0]
            self._beeps = self._beeps[1:]
            self._board.beep(frequency_hz, beep_ms)
        return self._board.ticks_ms()

    def _show(self, mask: int) -> None:
        if mask != self._shown:
            self._shown = mask
            self._board.bar(mask)
