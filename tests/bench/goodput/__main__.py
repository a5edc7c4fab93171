"""Goodput: a day's log over a line of 115,200 baud, clean and with bit errors, beside ZMODEM on the same line.

`python -m tests.bench.goodput --json`. The line is paced in real time. A figure is the records' bytes over what
the line could have carried meanwhile. For the probe the time runs from asking for the first record to having the
last one; for ZMODEM (`sz` and `rz` of lrzsz, the very same bytes as one file) from its first data header to its last
end-of-file header, so neither its start-up nor its farewell counts. ZMODEM gets its shortest timeout and, at each
error rate, the best of several settings of window and subpacket length; the probe's link finds its own.
"""

import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import harmonic_mean
from typing import Any

from curbtick.link.client import Client
from curbtick.link.keyring import Keyring
from curbtick.link.port import Link, open_wire

from tests import programs
from tests.bench import _common
from tests.bench.goodput.paced_wire import BYTE_RATE_HZ, PacedWire
from tests.pair.link.harness import ProbeProcess

CLEAN_BOUND = 0.94
ERROR_RATES = (0.0, 1e-6, 1e-5, 1e-4)
RECORDS = 400
RECORDS_SHORT = 120
_TRANSFER_MAX_S = 90.0
_FAREWELL_S = 15.0
# ZMODEM's binary headers with a 32-bit CRC: ZPAD ZDLE ZBIN32, then the frame type.
_ZDATA = b"*\x18C\x0a"
_ZEOF = b"*\x18C\x0b"
_ZMODEM_SETTINGS = (
    (),
    ("--windowsize", "4096"),
    ("--windowsize", "2048"),
    ("--windowsize", "1024", "--packetlen", "256"),
)


class Day:
    """A day's log on a probe's flash. records_bytes: the records, end to end."""

    def __init__(self, folder: Path, count: int) -> None:
        self.flash = folder / "flash"
        self.folder = folder
        wire = PacedWire(0.0, 0)
        probe = ProbeProcess(wire.probe.slave, self.flash)
        probe.append(count)
        probe.kill()
        wire.close()


def pull(day: Day, bit_error_rate: float, seed: int) -> tuple[float, bytes]:
    """Pull the day's log: (goodput, the records end to end)."""
    wire = PacedWire(bit_error_rate, seed)
    probe = ProbeProcess(wire.probe.slave, day.flash)
    client = Client(Link(open_wire(wire.bench.path)), Keyring(day.folder / "keys.json"), wire.bench.path)
    try:
        last = client.greet().last_seq
        started_s = time.monotonic()
        data = b"".join(raw for batch in client.batches(1, last) for raw in batch.raws)
        seconds = time.monotonic() - started_s
    finally:
        client.close()
        probe.kill()
        wire.close()
    return len(data) / (seconds * BYTE_RATE_HZ), data


def _ended(process: subprocess.Popen[bytes], most_s: float) -> bool:
    """Whether a process comes to its end in time; it is killed otherwise."""
    try:
        process.wait(most_s)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return False
    return True


def send_zmodem(day: Day, data: bytes, bit_error_rate: float, seed: int, options: tuple[str, ...]) -> float:
    """Send data as a file by ZMODEM: goodput, 0 where it gives up, the most it can have been where it is cut off."""
    source, target = day.folder / "sent.bin", day.folder / "received"
    source.write_bytes(data)
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir()
    wire = PacedWire(bit_error_rate, seed)
    receive = ["rz", "--quiet", "--binary", "--timeout", "10"]
    send = ["sz", "--quiet", "--binary", "--timeout", "10", *options, str(source)]
    try:
        receiver = subprocess.Popen(
            receive, cwd=target, stdin=wire.bench.slave, stdout=wire.bench.slave, stderr=subprocess.DEVNULL
        )
        sender = subprocess.Popen(
            send, stdin=wire.probe.slave, stdout=wire.probe.slave, stderr=subprocess.DEVNULL
        )
        ended = _ended(sender, _TRANSFER_MAX_S)
        _ended(receiver, _FAREWELL_S)
        start_s, end_s = wire.to_bench.end_s(_ZDATA), wire.to_bench.end_s(_ZEOF, last=True)
    finally:
        wire.close()
    received = target / source.name
    whole = received.exists() and received.read_bytes() == data
    if not whole or start_s is None or end_s is None:
        return 0.0 if ended else len(data) / (_TRANSFER_MAX_S * BYTE_RATE_HZ)
    return len(data) / ((end_s - start_s) * BYTE_RATE_HZ)


def _zmodem_mean(day: Day, data: bytes, rate: float, seeds: range, options: tuple[str, ...]) -> float:
    """The mean goodput over the seeds; 0 as soon as one transfer fails."""
    found: list[float] = []
    for seed in seeds:
        found.append(send_zmodem(day, data, rate, seed, options))
        if not found[-1]:
            return 0.0
    return harmonic_mean(found)


def _compare(day: Day, rate: float, seed: int, transfers: int) -> list[dict[str, Any]]:
    """The figures of one error rate: the mean over some transfers, each on its own seed, the same for both."""
    pulled = [pull(day, rate, seed + place) for place in range(transfers)]
    ours = harmonic_mean([goodput for goodput, _ in pulled])
    data = pulled[-1][1]
    others = {
        " ".join(options) or "as it comes": _zmodem_mean(
            day, data, rate, range(seed, seed + transfers), options
        )
        for options in _ZMODEM_SETTINGS
    }
    name, zmodem = f"{rate:.0e}" if rate else "clean", max(others.values())
    sys.stderr.write(f"{name}: probe {ours:.4f}, ZMODEM {others}\n")
    figures = [_common.figure(f"goodput_{name}", round(ours, 4), f"> zmodem {zmodem:.4f}", ours > zmodem)]
    if not rate:
        figures.append(
            _common.figure("goodput_clean", round(ours, 4), f">= {CLEAN_BOUND}", ours >= CLEAN_BOUND)
        )
    return figures


def main() -> None:
    """Run and report."""
    options = _common.arguments("A day's log over a paced line, beside ZMODEM.")
    if programs.LRZSZ.find() is None:
        sys.exit(programs.LRZSZ.how)
    figures: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as folder:
        day = Day(Path(folder), RECORDS_SHORT if options.short else RECORDS)
        for place, rate in enumerate(ERROR_RATES):
            figures += _compare(day, rate, options.seed * 100 + 10 * place, 1 if options.short else 2)
    _common.report(figures, options)


if __name__ == "__main__":
    main()
