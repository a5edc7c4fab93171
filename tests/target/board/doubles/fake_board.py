"""The one board that tests make for themselves, on CPython and on MicroPython; it keeps the board's contract.

Its time passes in block(), wait() and beep() alone, or where a test sets it. What it hears is a ramp, each sample one
more than the last, unless a test gives it another capture.
"""

from array import array

from curbtick_wire._typing import Any, Ints, Sequence
from curbtick_wire.sampling import BLOCK, BLOCK_US

RING_BLOCKS = 8
# The chip's own millisecond ticks start over at so many.
TICKS_WRAP_MS = 1 << 30


class FakeCapture:
    """Blocks of a ramp, in step with the board's time. `source`: the input sampled, None while at rest."""

    def __init__(self, board: "FakeBoard") -> None:
        self._board = board
        self._ring: list[Any] = []
        self._taken = 0
        self._due_us = 0
        self.source: int | None = None
        self.overruns = 0

    def start(self, source: int) -> None:
        """Start sampling an input; the ring is made now, so that a board that never listens keeps its heap."""
        if not self._ring:
            self._ring = [array("H", bytes(2 * BLOCK)) for _ in range(RING_BLOCKS)]
        self.source = source
        self.overruns = 0
        self._due_us = self._board.now_us

    def stop(self) -> None:
        """Stop sampling."""
        self.source = None

    def block(self) -> Ints:
        """The next block that the ring still holds."""
        while self._board.now_us - self._due_us > (RING_BLOCKS - 1) * BLOCK_US:
            self._due_us += BLOCK_US
            self.overruns += 1
        self._due_us += BLOCK_US
        self._board.now_us = max(self._board.now_us, self._due_us)
        block: Ints = self._ring[self._taken % RING_BLOCKS]
        self._taken += 1
        for place in range(BLOCK):
            block[place] = (self._taken * BLOCK + place) & 4095
        return block

    def whole(self) -> int:
        """How many of the blocks handed out last still hold what they held."""
        return RING_BLOCKS - 2 - max(0, self._board.now_us - self._due_us) // BLOCK_US


class NoSerial:
    """No cable."""

    def any(self) -> bool:
        """No bytes wait."""
        return False

    def read_into(self, buffer: bytearray) -> int:
        """Nothing is read."""
        return 0

    def write(self, data: bytes) -> int:
        """Nothing is taken."""
        return 0


class FakeBoard:
    """A board in a test's hands.

    capture, serial: in place of the ramp and of no cable; presses: (time in ms, buttons held from then on), in order;
    end_ms: where wait() raises TimeoutError, so that a program without an end has one. What the board was told stands
    in `bars` (time in ms, mask), `beeps` (time in ms, duration in ms) and `waits` (ms).
    """

    unique_id = b"fake one"
    root = "/probe"
    supply_mv = 3900
    hung_in = -1

    def __init__(
        self,
        capture: Any = None,
        serial: Any = None,
        now_ms: int = 0,
        presses: Sequence[tuple[int, int]] = (),
        end_ms: int | None = None,
    ) -> None:
        self.now_us = 1000 * now_ms
        self.capture = capture or FakeCapture(self)
        self.serial = serial or NoSerial()
        self.bars: list[tuple[int, int]] = []
        self.beeps: list[tuple[int, int]] = []
        self.waits: list[int] = []
        self._presses = presses
        self._end_ms = end_ms

    @property
    def now_ms(self) -> int:
        """Milliseconds since start, which never start over."""
        return self.now_us // 1000

    @now_ms.setter
    def now_ms(self, value: int) -> None:
        self.now_us = 1000 * value

    def ticks_us(self) -> int:
        """Microseconds since start."""
        return self.now_us

    def ticks_ms(self) -> int:
        """Milliseconds, starting over as the chip's do."""
        return self.now_ms % TICKS_WRAP_MS

    def battery_mv(self) -> int:
        """The battery, half full unless a test says otherwise."""
        return self.supply_mv

    def temperature_ddeg(self) -> int:
        """A room's temperature."""
        return 215

    def buttons(self) -> int:
        """What is held now."""
        held = 0
        for time_ms, mask in self._presses:
            if time_ms <= self.now_ms:
                held = mask
        return held

    def bar(self, mask: int) -> None:
        """Note what is lit."""
        self.bars.append((self.now_ms, mask))

    def beep(self, frequency_hz: int, duration_ms: int) -> None:
        """Note the sound, and let its time pass."""
        self.beeps.append((self.now_ms, duration_ms))
        self.now_ms += duration_ms

    def wait(self, ms: int, heeds_serial: bool = True) -> None:
        """Let time pass up to the next change of the buttons. Raises TimeoutError beyond end_ms."""
        assert ms > 0
        self.waits.append(ms)
        changes = [time_ms for time_ms, _ in self._presses if time_ms > self.now_ms]
        self.now_ms = min([self.now_ms + ms] + changes)
        if self._end_ms is not None and self.now_ms > self._end_ms:
            raise TimeoutError("the test's end")

    def watch(self) -> None:
        """There is no watchdog."""

    def feed(self) -> None:
        """There is none to feed."""

    def note(self, doing: int) -> None:
        """Nothing outlives a test."""
