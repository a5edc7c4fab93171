"""The virtual board: the same shape as board/rp2.py, on the MicroPython unix port.

Its bus to the bench's virtual yard is the process's standard input and output. A request is REQUEST bytes (operation,
argument, microseconds since boot); operations that wait for an answer get ANSWER bytes (value, buttons), or the
samples of one block. The other end is host/curbtick/virtual/probe/bus.py.

Simulated time is the samples consumed (4 us each), the time charged for flash and beeps, and what the bench says
a wait took.
"""

import array
import select
import struct
import sys

from curbtick_wire import virtual
from curbtick_wire._typing import Ints
from curbtick_wire.sampling import BLOCK, BLOCK_US

from curbtick_probe.board.virtual import flashdisk

RING_BLOCKS = 8
ROOT = "/probe"
TIMEOUT_US = 8_000_000
# READ and STEP held, as buttons() says it.
_BOTH_BUTTONS = 3

_REQUEST = "<BIQ"
_ANSWER_BYTES = 8


class Watchdog:
    """The chip's watchdog by simulated time; a program that hangs without letting time pass is not seen.

    noted: what the program does, for the start after a restart.
    """

    def __init__(self) -> None:
        self._bites_us = 0
        self.runs = False
        self.noted = 0

    def feed(self, now_us: int) -> None:
        """Put the restart off by TIMEOUT_US."""
        self._bites_us = now_us + TIMEOUT_US

    def look(self, bus: "Bus") -> None:
        """Restart the program where it was not fed in time."""
        if self.runs and bus.now_us > self._bites_us:
            bus.send(ord("R"), self.noted + 1)
            sys.exit(0)


class Bus:
    """The framed requests to the bench, and the simulated clock they carry."""

    def __init__(self) -> None:
        self.now_us = 0
        self.watchdog = Watchdog()
        self._out = sys.stdout.buffer
        self._in = sys.stdin.buffer
        self._request = bytearray(struct.calcsize(_REQUEST))
        self._answer = array.array("i", [0, 0])
        self.held = 0

    def charge(self, duration_us: int) -> None:
        """Let duration_us of simulated time pass."""
        self.now_us += duration_us
        self.watchdog.look(self)

    def send(self, operation: int, argument: int = 0) -> None:
        """Send one request with the time it is made at."""
        struct.pack_into(_REQUEST, self._request, 0, operation, argument, self.now_us)
        self._out.write(self._request)

    def receive_into(self, buffer: bytearray | Ints, size: int) -> None:
        """Fill a buffer of size bytes; the program ends when the bench has gone."""
        if self._in.readinto(buffer) != size:
            sys.exit(0)

    def answer(self) -> int:
        """Read one answer: return its value, and keep the buttons in `held`. Allocates nothing."""
        self.receive_into(self._answer, _ANSWER_BYTES)
        self.held = self._answer[1]
        return self._answer[0]

    def ask(self, payload: bytes = b"") -> bytes:
        """Hand bytes to the bench's `on_ask` and return the bytes it answers; for test scripts."""
        self.send(ord("Q"), len(payload))
        self._out.write(payload)
        reply = bytearray(self.answer())
        self.receive_into(reply, len(reply))
        return bytes(reply)


class Capture:
    """Blocks of samples from the ear, in step with the simulated clock."""

    def __init__(self, bus: Bus) -> None:
        self._bus = bus
        self._ring = [array.array("H", bytes(2 * BLOCK)) for _ in range(RING_BLOCKS)]
        self._next = 0
        self._due_us = 0
        self.overruns = 0

    def start(self, source: int) -> None:
        """Start sampling an input (names.INPUT_LOW, INPUT_PADDED or INPUT_HIGH)."""
        self._due_us = self._bus.now_us
        self._next = 0
        self.overruns = 0
        self._bus.send(ord("S"), source)

    def block(self) -> Ints:
        """Return the next array('H') of BLOCK samples, 0..4095; valid until the ring comes round.

        Blocks that the ring could not keep, because more than RING_BLOCKS - 1 passed unread, are counted in `overruns`.
        """
        bus = self._bus
        while bus.now_us - self._due_us > (RING_BLOCKS - 1) * BLOCK_US:
            self._due_us += BLOCK_US
            self.overruns += 1
        start_us = self._due_us
        self._due_us = start_us + BLOCK_US
        now_us = max(bus.now_us, self._due_us)
        bus.now_us = start_us
        bus.send(ord("B"), BLOCK)
        bus.now_us = now_us
        bus.watchdog.look(bus)
        block = self._ring[self._next]
        self._next = (self._next + 1) % RING_BLOCKS
        bus.receive_into(block, 2 * BLOCK)
        return block

    def whole(self) -> int:
        """Return how many of the blocks handed out last still hold what they held, and will for a block's time."""
        return RING_BLOCKS - 2 - max(0, self._bus.now_us - self._due_us) // BLOCK_US

    def stop(self) -> None:
        """Stop sampling."""
        self._bus.send(ord("P"))


class Serial:
    """The probe's USB serial: the master end of a pty (an inherited file descriptor), or a path."""

    def __init__(self, where: str) -> None:
        self.stream = open(int(where) if where.isdigit() else where, "r+b")  # noqa: SIM115 - open as long as the board
        self._poll = select.poll()
        self._poll.register(self.stream, select.POLLIN | select.POLLOUT)

    def _ready(self, event: int, timeout_ms: int = 0) -> bool:
        self._poll.modify(self.stream, event)
        for _stream, events in self._poll.ipoll(timeout_ms):
            return bool(events & event)
        return False

    def any(self) -> bool:
        """Say whether bytes are waiting."""
        return self._ready(select.POLLIN)

    def read_into(self, buffer: bytearray) -> int:
        """Read at most len(buffer) bytes without blocking; return how many.

        A read of more than one byte would wait until all of them are there.
        """
        count = 0
        while count < len(buffer) and self.any():
            byte = self.stream.read(1)
            if not byte:
                break
            buffer[count] = byte[0]
            count += 1
        return count

    def write(self, data: bytes) -> int:
        """Write what the other end takes within half a second of standstill; return how many bytes."""
        view = memoryview(data)
        sent = 0
        while sent < len(view) and self._ready(select.POLLOUT, 500):
            sent += self.stream.write(view[sent:]) or 0
        return sent


class NoSerial:
    """No cable plugged in."""

    stream = None

    def any(self) -> bool:
        """Say that nothing is waiting."""
        return False

    def read_into(self, buffer: bytearray) -> int:
        """Read nothing."""
        return 0

    def write(self, data: bytes) -> int:
        """Write nothing."""
        return 0


class Board:
    """The virtual probe's hardware.

    Options come as `name=value` arguments of the process: serial (fd or path), flash (file), blocks (of 4096 B, for a
    flash of another size), id (16 hex digits).
    Without a flash file there is no file system and `root` is empty.
    """

    def __init__(self) -> None:
        options = _options()
        self.bus = Bus()
        self.capture = Capture(self.bus)
        self.hung_in = int(options.get("hung", 0)) - 1
        self.unique_id = bytes.fromhex(options.get("id", "c0b0000000000001"))
        serial = options.get("serial")
        self.serial = Serial(serial) if serial else NoSerial()
        self._events = select.poll()
        self._events.register(sys.stdin, select.POLLIN)
        if serial:
            self._events.register(self.serial.stream, select.POLLIN)
        self.root = ROOT if "flash" in options else ""
        if self.root:
            blocks = int(options.get("blocks", virtual.FLASH_BLOCKS))
            flashdisk.mount(flashdisk.FlashDisk(options["flash"], self.bus.charge, blocks), ROOT)

    def ticks_us(self) -> int:
        """Return simulated microseconds since boot."""
        return self.bus.now_us

    def ticks_ms(self) -> int:
        """Return simulated milliseconds since boot."""
        return self.bus.now_us // 1000

    def _ask(self, operation: int) -> int:
        self.bus.send(operation)
        return self.bus.answer()

    def battery_mv(self) -> int:
        """Return the supply voltage in millivolts."""
        return self._ask(ord("V"))

    def temperature_ddeg(self) -> int:
        """Return the temperature in tenths of a degree Celsius."""
        return self._ask(ord("T"))

    def buttons(self) -> int:
        """Return the buttons held: bit 0 READ, bit 1 STEP."""
        self.feed()
        self._ask(ord("G"))
        return self.bus.held

    def bar(self, mask: int) -> None:
        """Light the LEDs whose bits are set; bit 0 is the left end."""
        self.bus.send(ord("L"), mask)

    def beep(self, frequency_hz: int, duration_ms: int) -> None:
        """Sound the beeper and return when it is silent again."""
        self.bus.send(ord("Z"), frequency_hz << 16 | duration_ms)
        self.bus.answer()
        self.bus.charge(duration_ms * 1000)

    def wait(self, ms: int, heeds_serial: bool = True) -> None:
        """Wait until ms passed, the buttons are other than buttons() last said, or (heeds_serial) data wait."""
        if heeds_serial and self.serial.any():
            return
        self.bus.send(ord("W"), ms)
        if heeds_serial and self._serial_first():
            self.bus.send(ord("C"))
        self.bus.now_us += self.bus.answer()
        self.feed()

    def _serial_first(self) -> bool:
        for stream, _ in self._events.poll(-1):
            if stream is sys.stdin:
                return False
        return True

    def watch(self) -> None:
        """Start the watchdog."""
        self.feed()
        self.bus.watchdog.runs = True

    def feed(self) -> None:
        """Say that the program goes on."""
        self.bus.watchdog.feed(self.bus.now_us)

    def note(self, doing: int) -> None:
        """Keep what the program does, for `hung_in` of the start after the watchdog's restart."""
        self.bus.watchdog.noted = doing

    def reset(self) -> None:
        """Start again, as a power cycle does."""
        self.bus.send(ord("R"))
        sys.exit(0)


def repl_wanted() -> bool:
    """Return whether both buttons are held: the way back to MicroPython's prompt, for main.py before all else."""
    bus = Bus()
    bus.send(ord("G"))
    bus.answer()
    return bus.held == _BOTH_BUTTONS


def _options() -> dict[str, str]:
    return dict(argument.split("=", 1) for argument in sys.argv[1:] if "=" in argument)
