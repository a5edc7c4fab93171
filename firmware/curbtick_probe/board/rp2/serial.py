"""The probe's serial on a real board: USB (the default) or a UART, binary-safe and never blocking."""

import select
import sys

import machine
import micropython
from micropython import const

from curbtick_probe.board.rp2 import pins

_UART_BAUD = const(230_400)
_INTERRUPT_OFF = const(-1)
_INTERRUPT_ON = const(3)


class Usb:
    """The USB serial that MicroPython's own prompt uses, with its interrupt character switched off.

    A byte 0x03 in binary data would otherwise stop the program and empty the receive buffer.
    """

    def __init__(self) -> None:
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._one = bytearray(1)
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        micropython.kbd_intr(_INTERRUPT_OFF)

    def any(self) -> bool:
        """Return whether a byte is waiting."""
        for _ in self._poll.ipoll(0):
            return True
        return False

    def read_into(self, buffer: bytearray) -> int:
        """Read at most len(buffer) bytes without blocking; return how many."""
        count = 0
        size = len(buffer)
        while count < size and self.any():
            self._in.readinto(self._one)
            buffer[count] = self._one[0]
            count += 1
        return count

    def write(self, data: bytes) -> int:
        """Write data; give up after 500 ms of standstill (MicroPython's bound). Return how many bytes."""
        return self._out.write(data) or 0

    def release(self) -> None:
        """Give the serial back to MicroPython's prompt."""
        micropython.kbd_intr(_INTERRUPT_ON)


class Uart:
    """A UART in place of USB, for a board whose USB is taken; 8 data bits, no parity, one stop bit."""

    def __init__(self, baud: int = _UART_BAUD) -> None:
        self._uart = machine.UART(
            0,
            baudrate=baud,
            tx=machine.Pin(pins.gpio("uart_tx")),
            rx=machine.Pin(pins.gpio("uart_rx")),
            rxbuf=2048,
            txbuf=2048,
            timeout=0,
        )

    def any(self) -> bool:
        """Return whether a byte is waiting."""
        return self._uart.any() > 0

    def read_into(self, buffer: bytearray) -> int:
        """Read at most len(buffer) bytes without blocking; return how many."""
        waiting = min(len(buffer), self._uart.any())
        return self._uart.readinto(buffer, waiting) or 0 if waiting else 0

    def write(self, data: bytes) -> int:
        """Write data; what the transmit buffer does not take at once waits for the line. Return how many bytes."""
        return self._uart.write(data) or 0

    def release(self) -> None:
        """Nothing to give back: the prompt stayed on USB."""
