"""The firmware's link in a MicroPython process, and the ends of ptys that lead to it."""

import json
import os
import subprocess
import tty
from pathlib import Path

from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring

from tests.bench._common import micropython_command, micropython_environment

PROGRAM = Path(__file__).with_name("probe.py")
UNIQUE_ID = "c0b0000000000abc"


class Pty:
    """A raw pty. `path` is what a bench opens; the slave is held open too, so that its other end never hangs up."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.master)
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)

    def close(self) -> None:
        for handle in (self.master, self.slave):
            os.close(handle)


class ProbeProcess:
    """The probe of probe.py. descriptor: its serial; flash: its flash file, kept over restarts."""

    def __init__(self, descriptor: int, flash: Path, *words: str, heap: str = "2m") -> None:
        self._descriptor = descriptor
        self._flash = flash
        self._heap = heap
        self.start(*words)

    def start(self, *words: str) -> None:
        """Switch the probe on; words: `pairing`, `later`, `altered`."""
        command = [*micropython_command(), "-X", f"heapsize={self._heap}", str(PROGRAM)]
        self._process = subprocess.Popen(
            [*command, str(self._descriptor), str(self._flash), *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=(self._descriptor,),
            env=micropython_environment(),
            text=True,
        )
        ready = self._read()
        assert ready == "ready", ready

    def _read(self) -> str:
        assert self._process.stdout is not None
        return self._process.stdout.readline().strip()

    def tell(self, line: str) -> str:
        """Send a line of probe.py's and return the answer."""
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        return self._read()

    def append(self, count: int) -> int:
        """Log count records: the log's last number."""
        return int(self.tell(f"append {count}"))

    def append_told(self, count: int) -> dict[int, str]:
        """Log count records: the SHA-256 of each, in hex, by its number."""
        return {int(seq): str(digest) for seq, digest in json.loads(self.tell(f"tell {count}"))}

    def kill(self) -> None:
        """Take the power away."""
        self._process.kill()
        self._process.communicate()


class Bench:
    """A probe on a pty and what a bench needs to talk to it."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.folder = folder
        self.pty = Pty()
        self.keyring = Keyring(folder / "keys.json")
        self.probe = ProbeProcess(self.pty.master, folder / "flash", *words)

    def connect(self) -> Client:
        return connect(self.pty.path, self.keyring)

    def close(self) -> None:
        self.probe.kill()
        self.pty.close()
