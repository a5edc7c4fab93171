"""The bench's end of the wire: finding a probe's port, opening it, and whole frames over it.

A port is a serial device (`/dev/ttyACM0`, `COM3`), a pty's path, or `socket://host:port`.
"""

import contextlib
import itertools
import os
import random
import socket
import time
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import serial
from curbtick_wire import frames
from serial.tools import list_ports

from curbtick.errors import LinkError

# The USB ids of MicroPython on this chip family (Raspberry Pi's vendor id, MicroPython's product id).
USB_IDS = ((0x2E8A, 0x0005),)
BAUD = 115_200
_SOCKET = "socket://"
_READ_SIZE = 4096
_WRITE_TIMEOUT_S = 5.0
# A serial port waits this long at a time: setting another wait costs it a reconfiguration.
_READ_STEP_S = 0.02

_NOTHING_LOST = "Nothing was changed; the probe keeps its records."


class Wire(Protocol):
    """Bytes to and from a port. Every method raises LinkError once the port is gone."""

    def read(self, timeout_s: float) -> bytes:
        """What has come, waiting for the first byte at most timeout_s, or less; empty when nothing did."""
        ...

    def write(self, data: bytes) -> None:
        """Send all of data."""
        ...

    def close(self) -> None:
        """Give the port back. Never raises."""
        ...


@dataclass(frozen=True)
class Port:
    """A port that a probe may be on.

    unique_id: the probe's id in hex, empty where USB gives none.
    """

    path: str
    unique_id: str


class Frame(NamedTuple):
    """One message as it came: kind and request id as on the wire."""

    kind: int
    request: int
    payload: bytes


def find_ports() -> list[Port]:
    """The ports whose USB ids are a probe's, by path."""
    ports = [
        Port(info.device, (info.serial_number or "").lower())
        for info in list_ports.comports()
        if (info.vid, info.pid) in USB_IDS
    ]
    return sorted(ports, key=lambda port: port.path)


def choose_port(wanted: str | None) -> str:
    """The path to open for what the user named: a path, a probe's unique id, or nothing if there is but one.

    Raises LinkError where no port or more than one fits.
    """
    if wanted and not _is_unique_id(wanted):
        return wanted
    ports = [port for port in find_ports() if not wanted or port.unique_id == wanted.lower()]
    if len(ports) == 1:
        return ports[0].path
    if not ports:
        what = f"No probe {wanted} is plugged in." if wanted else "No probe is plugged in."
        raise LinkError(
            what,
            "Nothing was read or changed.",
            "Plug the probe in and switch it on, or name its port with --port.",
        )
    listed = ", ".join(f"{port.path} ({port.unique_id or 'no serial number'})" for port in ports)
    raise LinkError(f"More than one probe is plugged in: {listed}.", _NOTHING_LOST, "Name one with --port.")


def _is_unique_id(text: str) -> bool:
    return len(text) == 16 and all(letter in "0123456789abcdefABCDEF" for letter in text)


def open_wire(path: str) -> Wire:
    """Open a port for this program alone. Raises LinkError: no such port, busy, not allowed."""
    return _SocketWire(path) if path.startswith(_SOCKET) else _SerialWire(path)


def _gone(path: str, error: Exception) -> LinkError:
    return LinkError(
        f"The connection on {path} broke off ({error}).",
        "What was received whole is kept; the probe keeps everything that is not acknowledged.",
        "Plug the probe in again and repeat the command; it goes on where it stopped.",
    )


class _SerialWire:
    """A serial device or a pty: its lines set before it is opened, and locked against other programs."""

    def __init__(self, path: str) -> None:
        self._path = path
        port = serial.Serial()
        port.port = path
        port.baudrate = BAUD
        port.dtr = True
        port.rts = True
        port.timeout = _READ_STEP_S
        port.write_timeout = _WRITE_TIMEOUT_S
        with contextlib.suppress(ValueError):
            port.exclusive = True
        try:
            port.open()
        except (serial.SerialException, OSError, ValueError) as error:
            raise _not_opened(path, error) from error
        self._port = port

    def read(self, timeout_s: float) -> bytes:
        try:
            first: bytes = self._port.read(1)
            waiting = min(self._port.in_waiting, _READ_SIZE) if first else 0
            return first + (self._port.read(waiting) if waiting else b"")
        except (serial.SerialException, OSError, TypeError) as error:
            raise _gone(self._path, error) from error

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except (serial.SerialException, OSError) as error:
            raise _gone(self._path, error) from error

    def close(self) -> None:
        with contextlib.suppress(serial.SerialException, OSError):
            self._port.close()


class _SocketWire:
    """A TCP connection."""

    def __init__(self, path: str) -> None:
        self._path = path
        host, _, number = path.removeprefix(_SOCKET).rpartition(":")
        try:
            self._socket = socket.create_connection((host, int(number)), timeout=_WRITE_TIMEOUT_S)
        except (OSError, ValueError, OverflowError) as error:
            raise _not_opened(path, error) from error

    def read(self, timeout_s: float) -> bytes:
        try:
            self._socket.settimeout(max(timeout_s, 0.001))
            data = self._socket.recv(_READ_SIZE)
        except TimeoutError:
            return b""
        except OSError as error:
            raise _gone(self._path, error) from error
        if not data:
            raise _gone(self._path, ConnectionError("closed at the other end"))
        return data

    def write(self, data: bytes) -> None:
        try:
            self._socket.settimeout(_WRITE_TIMEOUT_S)
            self._socket.sendall(data)
        except OSError as error:
            raise _gone(self._path, error) from error

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._socket.close()


def _why(error: Exception) -> str:
    """The system's own words, without its number and without what the library wraps around them."""
    number = getattr(error, "errno", None)
    return os.strerror(number).lower() if number else "the system says no more"


def _not_opened(path: str, error: Exception) -> LinkError:
    """The error for a port that does not open, its cause told apart as far as the system tells."""
    words = str(error).lower()
    if any(part in words for part in ("exclusively lock", "busy", "access is denied", "in use")):
        return LinkError(
            f"The port {path} is in use by another program.",
            _NOTHING_LOST,
            "Close the other program (a terminal, a modem manager, another curbtick) and try again.",
        )
    if "permission" in words:
        return LinkError(
            f"This user may not open {path}.",
            _NOTHING_LOST,
            "Add the user to the group that owns the port (often dialout), log in again, and try again.",
        )
    return LinkError(
        f"The port {path} cannot be opened: {_why(error)}.",
        "Nothing was read or changed.",
        "See that the probe is plugged in and switched on; `curbtick probes` lists the ports found.",
    )


class Link:
    """Whole frames over a wire. Counters: `stale` frames discarded, `heard` bytes received at all.

    A frame that answers no request at hand, a damaged one, noise: all are dropped and counted, never kept.
    pace: multiplies every wait for the probe; below 1 for a probe that is known to be quick.
    """

    def __init__(self, wire: Wire, pace: float = 1.0) -> None:
        self._wire = wire
        self._pace = pace
        self._reader = frames.FrameReader(1 + frames.CHUNK_MAX)
        self._arrived: list[Frame] = []
        self._ids = itertools.count(random.randrange(65536))
        self.stale = 0
        self.heard = 0

    @property
    def damaged(self) -> int:
        """Frames dropped because they were damaged or too long."""
        return self._reader.damaged + self._reader.too_long

    def next_id(self) -> int:
        """A request id not used for a long while, 0..65535."""
        return next(self._ids) & 0xFFFF

    def send(self, kind: int, request: int, payload: bytes) -> None:
        """Send one request; the delimiter in front ends whatever stood half-sent on the wire."""
        self._wire.write(frames.DELIMITER + frames.encode(kind, request, payload))

    def receive(self, request: int, timeout_s: float, longest_s: float = 0.0) -> Frame | None:
        """The next frame that answers this request, or None when timeout_s passed without one.

        longest_s: how long to go on waiting where bytes keep coming that make no whole frame.
        """
        timeout_s *= self._pace
        started_s = time.monotonic()
        deadline_s = started_s + timeout_s
        while True:
            while self._arrived:
                frame = self._arrived.pop(0)
                if frame.request == request:
                    return frame
                self.stale += 1
            left_s = deadline_s - time.monotonic()
            if left_s <= 0:
                return None
            data = self._wire.read(left_s)
            self.heard += len(data)
            if data:
                deadline_s = max(deadline_s, min(time.monotonic() + timeout_s, started_s + longest_s))
            self._arrived += [Frame(*frame) for frame in self._reader.feed(data)]

    def close(self) -> None:
        """Give the port back."""
        self._wire.close()
