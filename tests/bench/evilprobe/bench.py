"""The bench under attack: the real command line, its history and its keys in a folder, at the server's pty."""

import contextlib
import copy
import json
import os
import select
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

from tests.bench.evilprobe.probe import Probe
from tests.bench.evilprobe.server import Server, Tell, truth

WORKER = [sys.executable, "-m", "tests.bench.evilprobe.worker"]
HANG_S = 90.0
"""A command at a probe that has not ended by then is killed and called a hang. SPEC.md states a shorter deadline."""
OFFLINE_S = 300.0
"""The same for a command that meets no probe."""


class Done(NamedTuple):
    """What a command did: exit code (None: killed as hung), what it said, seconds, peak memory in MB so far."""

    code: int | None
    said: str
    seconds: float
    peak_mb: float

    @property
    def failed(self) -> bool:
        """Whether it fell over: exit 70, or a traceback in its words."""
        return self.code == 70 or "Traceback" in self.said


class Template(NamedTuple):
    """A bench that pulled a true probe once: its files, and that probe."""

    folder: Path
    probe: Probe


class Bench:
    """A folder with `history.db` and `keys.json`, a pty, and the command line in a process that stays."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.server = Server()
        self._start()

    def _start(self) -> None:
        environment = {
            **os.environ,
            "CURBTICK_KEYS": str(self.folder / "keys.json"),
            "CURBTICK_DB": str(self.history),
        }
        environment |= {"XDG_CONFIG_HOME": str(self.folder), "COLUMNS": "200"}
        self._worker = subprocess.Popen(
            WORKER, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, text=True
        )  # fmt: skip

    @property
    def history(self) -> Path:
        return self.folder / "history.db"

    def reset(self, template: Template | None) -> None:
        """Begin anew, with a template's files or with none."""
        shutil.rmtree(self.folder, ignore_errors=True)
        if template is None:
            self.folder.mkdir(parents=True)
        else:
            shutil.copytree(template.folder, self.folder)

    def at(self, probe: Probe, *words: str, tell: Tell = truth) -> Done:
        """Run a command at a probe."""
        self.server.begin(probe, tell)
        done = self.run(*words, "--port", self.server.path, within_s=HANG_S)
        self.server.begin(probe, truth)
        return done

    def run(self, *words: str, within_s: float = OFFLINE_S) -> Done:
        """Run a command."""
        began_s = time.monotonic()
        assert self._worker.stdin is not None
        assert self._worker.stdout is not None
        self._worker.stdin.write(json.dumps(words) + "\n")
        self._worker.stdin.flush()
        ready, _, _ = select.select([self._worker.stdout], [], [], within_s)
        seconds = time.monotonic() - began_s
        if not ready:
            self.stop()
            self._start()
            return Done(None, "", seconds, 0.0)
        answer: dict[str, Any] = json.loads(self._worker.stdout.readline())
        return Done(answer["code"], answer["out"] + answer["err"], seconds, answer["peak_kb"] / 1024)

    def stop(self) -> None:
        """End the process of the command line."""
        self._worker.kill()
        self._worker.communicate()

    def close(self) -> None:
        """End the process and the pty."""
        self.stop()
        self.server.close()

    def keys(self) -> dict[str, Any]:
        """The key file's keys by probe; what is not there is none."""
        path = self.folder / "keys.json"
        found: dict[str, Any] = json.loads(path.read_text()) if path.exists() else {}
        return found

    def raw_records(self) -> set[bytes]:
        """Every record that the history keeps, whether it counts or not."""
        with contextlib.closing(sqlite3.connect(self.history)) as connection:
            return {bytes(raw) for (raw,) in connection.execute("SELECT raw FROM records")}

    def disk_bytes(self) -> int:
        """Bytes of all files of the bench."""
        return sum(path.stat().st_size for path in self.folder.rglob("*") if path.is_file())


def template(bench: Bench, folder: Path, paired: bool) -> Template:
    """Pair (or not) and pull a true probe with a bench: its files are kept in a folder. Raises RuntimeError."""
    bench.reset(None)
    probe = Probe()
    commands = (("probes", "pair"), ("pull",)) if paired else (("pull",),)
    for words in commands:
        done = bench.at(probe, *words)
        if done.code not in (0, 1) or done.failed:
            raise RuntimeError(f"the true probe's {words} ended with {done.code}:\n{done.said}")
    shutil.copytree(bench.folder, folder)
    return Template(folder, copy.deepcopy(probe))
