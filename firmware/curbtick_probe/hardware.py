"""What the firmware asks of a board: the contract that the real and the virtual board keep.

Only annotations name these classes, so that a probe does not carry them. What each method must do says
tests/target/board/programs/contract.py.
"""

from curbtick_wire._typing import Ints, Protocol


class Blocks(Protocol):
    """Samples of one input, handed out in blocks."""

    @property
    def overruns(self) -> int:
        """Blocks lost since start()."""

    def start(self, source: int) -> None:
        """Start sampling an input: names.INPUT_LOW, INPUT_PADDED or INPUT_HIGH."""

    def block(self) -> Ints:
        """Return the next sampling.BLOCK samples, 0..4095, waiting for them; valid until the ring comes round."""

    def stop(self) -> None:
        """Stop sampling."""


class Capture(Blocks, Protocol):
    """The board's own, whose blocks stand in a ring."""

    def whole(self) -> int:
        """Return how many of the blocks handed out last still hold what they held, and will for a block's time."""


class Ears(Protocol):
    """As much of a board as the seal and the hiss check need."""

    @property
    def capture(self) -> Blocks:
        """The sampling of the microphone."""

    def battery_mv(self) -> int:
        """Return the supply voltage in millivolts."""


class Serial(Protocol):
    """The serial line to the bench."""

    def any(self) -> bool:
        """Return whether bytes are waiting."""

    def read_into(self, buffer: bytearray) -> int:
        """Read at most len(buffer) bytes without blocking; return how many."""

    def write(self, data: bytes) -> int:
        """Write data in bounded time; return how many bytes the other end took."""


class Board(Protocol):
    """The probe's hardware."""

    @property
    def unique_id(self) -> bytes:
        """The chip's own id, 8 bytes."""

    @property
    def root(self) -> str:
        """The folder in which everything durable stands."""

    @property
    def capture(self) -> Capture:
        """The sampling of the microphone."""

    @property
    def serial(self) -> Serial:
        """The line to the bench."""

    @property
    def hung_in(self) -> int:
        """What note() was told last before the watchdog restarted the probe; -1 where it did not."""

    def ticks_us(self) -> int:
        """Return microseconds since boot."""

    def ticks_ms(self) -> int:
        """Return milliseconds since boot."""

    def battery_mv(self) -> int:
        """Return the supply voltage in millivolts."""

    def temperature_ddeg(self) -> int:
        """Return the chip's temperature in tenths of a degree Celsius."""

    def buttons(self) -> int:
        """Return the buttons held: bit 0 READ, bit 1 STEP."""

    def bar(self, mask: int) -> None:
        """Light the LEDs whose bits are set; bit 0 is the left end."""

    def beep(self, frequency_hz: int, duration_ms: int) -> None:
        """Sound the beeper and return when it is silent again; 0 Hz is a pause."""

    def wait(self, ms: int, heeds_serial: bool = True) -> None:
        """Wait until ms passed, the buttons are other than buttons() last said, or the serial has data.

        heeds_serial: False where nobody reads the serial meanwhile; its data do not end the wait then.
        """

    def watch(self) -> None:
        """Start the watchdog: 8 s without buttons(), wait() or feed() restart the probe from then on."""

    def feed(self) -> None:
        """Say that the program goes on; for what neither looks at the buttons nor waits."""

    def note(self, doing: int) -> None:
        """Keep what the program does, 0..255, for `hung_in`."""

    def reset(self) -> None:
        """Start again, as a power cycle does."""
