"""Soak: 10,000 readings with snippets and sounds, pulled in between, in a 400 kB heap.

    python -m tests.bench.soak [--short] [--seed N] [--json]

The firmware's log, limits, rounds, keys and link run on MicroPython with littlefs on a flash file; the bench
pairs with it and pulls over a pty after every few hundred readings. After each pull the free heap and the
largest block to be had are asked for. On a PC an object takes about twice the chip's room, so 400 kB stand
for its 190 kB.
"""

import random
import statistics
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.bench import _common

from curbtick_wire import codec, records  # isort: skip
from curbtick.link import client  # isort: skip
from curbtick.link.download import Batch  # isort: skip
from curbtick.link.keyring import Keyring  # isort: skip
from curbtick.link.port import Link, open_wire  # isort: skip

from tests.pair.link.harness import Pty  # isort: skip

PROGRAM = Path(__file__).with_name("probe.py")
HEAP = "heapsize=400k"
READINGS = {False: 10_000, True: 1_000}
PULL_EVERY = (200, 500)
# The longest thing the probe ever asks for at once is a file's buffer and a frame; this is far above both.
BLOCK_MIN_BYTES = 16_384
DRIFT_MAX_BYTES = 1_024


@dataclass
class Kept:
    """What the bench holds: raw records by number."""

    raws: dict[int, bytes] = field(default_factory=dict)
    doubled: int = 0

    def commit(self, batch: Batch) -> None:
        """Store a batch."""
        for raw in batch.raws:
            seq = codec.check_record(raw)["seq"]
            self.doubled += seq in self.raws
            self.raws[seq] = raw

    def count(self, kind: int) -> int:
        """Records of a kind."""
        return sum(raw[0] == kind for raw in self.raws.values())

    def reading_numbers(self) -> list[int]:
        """The number each reading carries, in the order of the log."""
        decoded = (codec.decode_record(raw) for _seq, raw in sorted(self.raws.items()))
        return [record["values"]["frequency_hz"] for record in decoded if record["kind"] == records.READING]


class SoakProbe:
    """probe.py as a process."""

    def __init__(self, descriptor: int, flash: Path) -> None:
        command = [*_common.micropython_command(), "-X", HEAP, str(PROGRAM), str(descriptor), str(flash)]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=(descriptor,),
            env=_common.micropython_environment(),
            text=True,
        )
        self._expect("ready")

    def _expect(self, start: str = "") -> str:
        assert self._process.stdout is not None
        line = self._process.stdout.readline().strip()
        if not line or not line.startswith(start):
            rest = self._process.stdout.read()
            raise RuntimeError(f"the probe stopped: {line} {rest[-800:]}")
        return line

    def ask(self, line: str) -> list[int]:
        """Send a line: the numbers of the answer."""
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        return [int(word) for word in self._expect().split()]

    def stop(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.communicate()


@dataclass
class Soaked:
    """What came of it. heaps: (free, largest block) after each pull; dropped: waves the probe gave up."""

    kept: Kept
    heaps: list[tuple[int, int]]
    dropped: int

    def drift_bytes(self) -> float:
        """Free heap lost from the first third of the pulls, its first apart, to the last third; medians."""
        free = [free for free, _block in self.heaps[1:]]
        third = max(1, len(free) // 3)
        return statistics.median(free[:third]) - statistics.median(free[-third:])


def soak(readings: int, seed: int, folder: Path) -> Soaked:
    """Take so many readings, pulling after every few hundred."""
    dice = random.Random(seed)
    pty = Pty()
    probe = SoakProbe(pty.master, folder / "flash")
    kept, heaps, dropped, taken = Kept(), [], 0, 0
    try:
        with client.Client(Link(open_wire(pty.path)), Keyring(folder / "keys.json"), pty.path) as bench:
            bench.greet()
            bench.pair("soak")
            while taken < readings:
                count = min(dice.randint(*PULL_EVERY), readings - taken)
                _last, dropped = probe.ask(f"take {count}")
                taken += count
                bench.greet()
                bench.pull(kept.commit)
                free, block = probe.ask("heap")
                heaps.append((free, block))
    finally:
        probe.stop()
        pty.close()
    return Soaked(kept, heaps, dropped)


def figures(soaked: Soaked, readings: int) -> list[dict[str, Any]]:
    """The figures beside their bounds."""
    kept = soaked.kept
    lost = readings - len(set(kept.reading_numbers()))
    in_order = kept.reading_numbers() == list(range(1, readings + 1))
    waves = kept.count(records.SNIPPET) + kept.count(records.SOUNDS) + soaked.dropped
    drift = soaked.drift_bytes()
    smallest = min(block for _free, block in soaked.heaps)
    return [
        _common.figure("readings_lost", lost, "== 0", lost == 0),
        _common.figure("readings_once_and_in_order", int(in_order), "== 1", in_order),
        _common.figure("records_doubled", kept.doubled, "== 0", kept.doubled == 0),
        _common.figure("waves_accounted_for", waves, f"== {2 * readings}", waves == 2 * readings),
        _common.figure("heap_drift_bytes", drift, f"<= {DRIFT_MAX_BYTES}", drift <= DRIFT_MAX_BYTES),
        _common.figure("largest_block_bytes", smallest, f">= {BLOCK_MIN_BYTES}", smallest >= BLOCK_MIN_BYTES),
    ]


def main() -> None:
    """Run the benchmark."""
    options = _common.arguments(__doc__ or "")
    readings = READINGS[options.short]
    with tempfile.TemporaryDirectory() as folder:
        soaked = soak(readings, options.seed, Path(folder))
    free = [free for free, _block in soaked.heaps]
    more = {"readings": readings, "pulls": len(free), "free_heap_bytes": free, "dropped": soaked.dropped}
    _common.report(figures(soaked, readings), options, **more)


if __name__ == "__main__":
    main()
