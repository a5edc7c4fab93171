"""The hostile end of the cable: a pty, and a thread that answers on it by a script of lies."""

import contextlib
import os
import select
import termios
import threading
import tty
from collections.abc import Callable, Iterable, Iterator

from tests.bench.evilprobe.probe import Answer, Probe
from tests.bench.evilprobe.wire import Frame, decode, encode

PAUSE_S = 0.05
Piece = Answer | bytes | None
"""A reply to be framed, raw bytes, or None for a pause of PAUSE_S."""
Tell = Callable[[Probe, Frame, list[Answer]], Iterable[Piece]]
"""What is said to a request, given what the truth would be. It may never end; the next request ends it."""


def truth(_probe: Probe, _frame: Frame, honest: list[Answer]) -> Iterable[Piece]:
    """What an honest probe says."""
    return honest


class Server:
    """Answers on a pty. `probe` and `tell` may be exchanged between sessions; `sent` counts bytes, `seen` requests."""

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self.probe, self.tell = Probe(), truth
        self.sent = self.seen = 0
        self._inward = b""
        self._outward = b""
        self._pieces: Iterator[Piece] = iter(())
        self._request_id = 0
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def begin(self, probe: Probe, tell: Tell) -> None:
        """Answer for this probe by this script from now on; what stands on the wire is thrown away."""
        with self._lock:
            self.probe, self.tell = probe, tell
            self.sent = self.seen = 0
            self._inward = self._outward = b""
            self._pieces = iter(())
            termios.tcflush(self._slave, termios.TCIOFLUSH)
            termios.tcflush(self._master, termios.TCIOFLUSH)

    def close(self) -> None:
        """End the thread and the pty."""
        self._stop.set()
        self._thread.join()
        os.close(self._master)
        os.close(self._slave)

    def _run(self) -> None:
        while not self._stop.is_set():
            with self._lock:
                busy = self._step()
            if not busy:
                select.select([self._master], [], [], PAUSE_S)

    def _step(self) -> bool:
        """Read what came and write one piece: whether there is more to do at once."""
        with contextlib.suppress(BlockingIOError):
            self._inward += os.read(self._master, 65536)
        while b"\0" in self._inward:
            data, _, self._inward = self._inward.partition(b"\0")
            frame = decode(data)
            if frame is not None:
                self._asked(frame)
        return self._write()

    def _asked(self, frame: Frame) -> None:
        self.seen += 1
        self._request_id = frame.request_id
        self._pieces = iter(self.tell(self.probe, frame, self.probe.answers(frame)))

    def _write(self) -> bool:
        if not self._outward:
            piece = next(self._pieces, None)
            if piece is None:
                return False
            self._outward = (
                piece if isinstance(piece, bytes) else encode(piece.kind, self._request_id, piece.payload)
            )
        try:
            count = os.write(self._master, self._outward)
        except BlockingIOError:
            return False
        self.sent += count
        self._outward = self._outward[count:]
        return True
