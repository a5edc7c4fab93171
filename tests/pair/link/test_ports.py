"""Ports that are busy, silent, missing, or somebody else's."""

import os
import threading
import time
from pathlib import Path

import pytest
from curbtick.errors import LinkError
from curbtick.link.client import connect
from curbtick.link.keyring import Keyring

from tests.pair.link.harness import Bench, Pty


def test_a_port_in_use_is_said_to_be(bench: Bench) -> None:
    with bench.connect(), pytest.raises(LinkError, match="in use"):
        bench.connect()


def test_no_such_port() -> None:
    with pytest.raises(LinkError, match="cannot be opened"):
        connect("/dev/no-such-port")
    with pytest.raises(LinkError, match="cannot be opened"):
        connect("socket://127.0.0.1:1")


def test_a_silent_port(tmp_path: Path) -> None:
    pty = Pty()
    try:
        with pytest.raises(LinkError, match="Nothing answers"):
            connect(pty.path, Keyring(tmp_path / "keys.json"))
    finally:
        pty.close()


def test_another_device_on_the_port(tmp_path: Path) -> None:
    pty = Pty()
    ended = threading.Event()

    def chatter() -> None:
        while not ended.is_set():
            os.write(pty.master, b"OK\r\n>>> ")
            time.sleep(0.05)

    other = threading.Thread(target=chatter)
    other.start()
    try:
        with pytest.raises(LinkError, match="is not a probe"):
            connect(pty.path, Keyring(tmp_path / "keys.json"))
    finally:
        ended.set()
        other.join()
        pty.close()
