"""A wire between benches and a server that is cut whenever the test says so."""

import socket
import threading
from contextlib import suppress


class Cutter:
    """Forwards loopback connections to a port; `cut` breaks off every one that is open, mid-word or not."""

    def __init__(self, target_port: int) -> None:
        self._target = ("127.0.0.1", target_port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> int:
        """Break off every open connection; returns how many there were."""
        with self._lock:
            ends, self._open = self._open, set()
        for end in ends:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        return len(ends) // 2

    def close(self) -> None:
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.cut()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(self._target)
            except OSError:
                near.close()
                continue
            with self._lock:
                self._open |= {near, far}
            for source, sink in ((near, far), (far, near)):
                threading.Thread(target=self._forward, args=(source, sink), daemon=True).start()

    def _forward(self, source: socket.socket, sink: socket.socket) -> None:
        with suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for end in (source, sink):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        with self._lock:
            self._open -= {source}
        source.close()
