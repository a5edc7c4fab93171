"""The bench's client over TCP, to the firmware's link behind a bridge."""

import os
import select
import socket
import threading
from pathlib import Path

import pytest
from curbtick.errors import LinkError
from curbtick.link.client import connect
from curbtick.link.keyring import Keyring

from tests.pair.link.harness import ProbeProcess, Pty


def bridge(server: socket.socket, handle: int, closes: int) -> None:
    """Carry one connection to a pty and back; hang up after so many bytes from the probe."""
    connection, _ = server.accept()
    with connection:
        while closes > 0:
            ready = select.select([connection, handle], [], [], 5.0)[0]
            if not ready:
                return
            if connection in ready:
                data = connection.recv(4096)
                if not data:
                    return
                os.write(handle, data)
            if handle in ready:
                data = os.read(handle, 4096)
                closes -= len(data)
                connection.sendall(data)


@pytest.mark.parametrize("closes", [1 << 30, 3000])
def test_pulling_over_tcp(tmp_path: Path, closes: int) -> None:
    pty = Pty()
    probe = ProbeProcess(pty.slave, tmp_path / "flash")
    probe.append(60)
    server = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=bridge, args=(server, pty.master, closes))
    thread.start()
    try:
        with connect(f"socket://127.0.0.1:{server.getsockname()[1]}", Keyring(tmp_path / "keys")) as client:
            if closes > 3000:
                assert [record.seq for record in client.records()] == list(range(1, 62))
            else:
                with pytest.raises(LinkError, match="broke off"):
                    list(client.records())
    finally:
        thread.join()
        server.close()
        probe.kill()
        pty.close()
