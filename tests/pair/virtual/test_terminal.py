"""`curbtick virtual` in a terminal: keys in, the drawn bar out, the bench pulling from a second one meanwhile."""

import os
import pty
import re
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

ENVIRONMENT = {
    **os.environ,
    "PYTHONPATH": os.pathsep.join(sys.path),
    "TERM": "xterm",
    "COLUMNS": "130",
    "LINES": "30",
}
PROGRAM = [sys.executable, "-c", "from curbtick.commands.main import main; main()"]


class Terminal:
    """The command under a pty of its own."""

    def __init__(self, *words: str) -> None:
        self._master, slave = pty.openpty()
        self._process = subprocess.Popen(
            [*PROGRAM, "virtual", *words],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=ENVIRONMENT,
            close_fds=True,
        )
        os.close(slave)
        self._shown = ""

    def press(self, key: str) -> None:
        os.write(self._master, key.encode())

    def wait_for(self, pattern: str, seconds: float = 60.0) -> re.Match[str]:
        """Wait until something is shown after what was waited for before."""
        deadline_s = time.monotonic() + seconds
        while time.monotonic() < deadline_s:
            found = re.search(pattern, self._shown)
            if found:
                self._shown = self._shown[found.end() :]
                return found
            if select.select([self._master], [], [], 0.5)[0]:
                self._shown += os.read(self._master, 65536).decode("utf-8", "replace")
        raise AssertionError(f"{pattern} was not shown; the last was {self._shown[-400:]!r}")

    def exit_code(self) -> int:
        return self._process.wait(timeout=30)

    def close(self) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._master)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    made.close()


def test_keys_are_the_buttons_and_a_second_terminal_can_pull(terminal: Terminal, tmp_path: Path) -> None:
    port = terminal.wait_for(r"USB serial +(/dev/\S+)").group(1)
    # A press within a beep is not seen: wait until the one after power-up is over.
    terminal.wait_for("●····· ······")
    terminal.wait_for("♪")
    time.sleep(1.5)
    terminal.press("r")
    terminal.wait_for("●●●●●● ●●●●●●")
    terminal.wait_for(r"·●···· ······\s+PASS")
    environment = {**ENVIRONMENT, "CURBTICK_KEYS": str(tmp_path / "keys.json")}
    words = ["pull", "--port", port, "--db", str(tmp_path / "curbtick.db"), "--json"]
    pulled = subprocess.run(
        [*PROGRAM, *words], capture_output=True, text=True, check=False, env=environment, timeout=60
    )
    assert pulled.returncode == 0, pulled.stderr
    terminal.press("n")
    terminal.wait_for("LH-01 .1. rear 2")
    terminal.press("q")
    assert terminal.exit_code() == 0
