"""Fuzz: random and mutated frames into the firmware's link on MicroPython. `python -m tests.bench.fuzz --json`."""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.bench import _common

FRAMES = 1_000_000
FRAMES_SHORT = 20_000
SCRIPT = Path(__file__).with_name("link.py")


def run(count: int, seed: int) -> dict[str, Any]:
    """Feed count inputs to a link in a MicroPython process: what it reports. Raises CalledProcessError."""
    with tempfile.TemporaryDirectory() as folder:
        flash = str(Path(folder) / "flash")
        command = [*_common.micropython_command(), str(SCRIPT), flash, str(count), str(seed)]
        done = subprocess.run(
            command, env=_common.micropython_environment(), capture_output=True, text=True, check=True
        )
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def main() -> None:
    """Run and report."""
    options = _common.arguments("Random and mutated frames into the firmware's link.")
    least = FRAMES_SHORT if options.short else FRAMES
    try:
        found = run(least, options.seed)
    except subprocess.CalledProcessError as error:
        sys.exit(f"the link's process ended with {error.returncode}:\n{error.stdout}\n{error.stderr}")
    growth = found["heap_after"] - found["heap_before"]
    figures = [
        _common.figure("frames", found["frames"], f">= {least}", found["frames"] >= least),
        _common.figure("exceptions", found["faults"], "== 0", found["faults"] == 0),
        _common.figure("state_changes", int(found["state_changed"]), "== 0", not found["state_changed"]),
        _common.figure("heap_growth_bytes", growth, "== 0", growth == 0),
    ]
    _common.report(figures, options, counters=found["counters"], heap_bytes=found["heap_before"])


if __name__ == "__main__":
    main()
