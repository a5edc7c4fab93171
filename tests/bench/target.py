"""What a reading costs on the chip: `python -m tests.bench.target [--json] [--seed N] [--short]`.

The probe's own listening code runs over streams that load it in different ways, its kernels as armv6m machine code on
an emulated Cortex-M0+ (tests/target/meter.py says what is exact and what is estimated). Bounds: the worst stream takes
at most 60 % of 125 MHz at 250 kS/s, no block comes too late for the capture ring, and a verdict stands at most 150 ms
after the last sample.
"""

from __future__ import annotations

import ast
import time
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.bench._common import arguments, figure, report
from tests.target.core import FIRMWARE
from tests.target.meter import Meter
from tests.target.shim import module_consts

CLOCK_HZ = 125_000_000
RATE_HZ = 250_000
BLOCK = 1024
BUDGET_CYCLES = CLOCK_HZ / RATE_HZ
BLOCK_CYCLES = BUDGET_CYCLES * BLOCK
SHARE_MAX_PERCENT = 60
AFTER_LAST_SAMPLE_MAX_MS = 150
CAPTURE = FIRMWARE / "curbtick_probe/board/adc_dma.py"

Stream = Callable[[int, np.random.Generator], np.ndarray]


def _codes(volts: np.ndarray) -> np.ndarray:
    return np.clip(np.round(2047.5 + volts), 0, 4095).astype(np.uint16)


def _noise(count: int, source: np.random.Generator) -> np.ndarray:
    return source.normal(0, 3, count)


def _bursts(
    count: int, source: np.random.Generator, every_s: float, levels_dbfs: tuple[float, ...]
) -> np.ndarray:
    """Bursts of 1 ms at 48 kHz in turn at these levels, `every_s` apart, in noise."""
    stream = _noise(count, source)
    length = RATE_HZ // 1000
    shape = np.sin(np.pi * np.arange(length) / length)
    for number, start in enumerate(range(BLOCK * 12, count - length, int(every_s * RATE_HZ))):
        amplitude = 2047.5 * 10 ** (levels_dbfs[number % len(levels_dbfs)] / 20)
        phase = 2 * np.pi * (48_000 * np.arange(length) / RATE_HZ + source.random())
        stream[start : start + length] += amplitude * shape * np.sin(phase)
    return stream


def _gusts(count: int, source: np.random.Generator) -> np.ndarray:
    """Noise that is 38 dB louder in every second 16 ms."""
    return _noise(count, source) * np.where(np.arange(count) // 4000 % 2, 80, 1)


IN_TURN_DBFS = (-8, -45, -50, -45)
STREAMS: dict[str, Stream] = {
    "quiet": lambda count, source: _codes(_noise(count, source)),
    "a sensor every 200 ms": lambda count, source: _codes(_bursts(count, source, 0.2, (-8,))),
    "four sensors in turn, every 33 ms": lambda count, source: _codes(
        _bursts(count, source, 0.033, IN_TURN_DBFS)
    ),
    "rail-to-rail noise": lambda count, source: source.integers(0, 4096, count).astype(np.uint16),
    "hiss in gusts": lambda count, source: _codes(_gusts(count, source)),
}


@dataclass
class Capture:
    """Hands a stream to the listener, block by block, and keeps the cycles it had spent at each."""

    stream: np.ndarray
    meter: Meter
    overruns: int = 0
    spent_cycles: list[float] = field(default_factory=list)
    kernel_cycles: list[int] = field(default_factory=list)

    def start(self, _source: int) -> None:
        self._note()

    def stop(self) -> None:
        """Nothing to stop."""

    def block(self) -> array[int]:
        self._note()
        at = (len(self.spent_cycles) - 2) * BLOCK
        return array("H", self.stream[at : at + BLOCK].tobytes())

    def _note(self) -> None:
        self.spent_cycles.append(self.meter.total_cycles())
        self.kernel_cycles.append(self.meter.kernel_cycles())


class Board:
    """As much of a board as listening needs."""

    def __init__(self, capture: Capture) -> None:
        self.capture = capture


@dataclass(frozen=True)
class Cost:
    """What one stream cost: shares of BUDGET_CYCLES, and how many blocks the ring had to hold at the worst moment."""

    kernel_percent: float
    total_percent: float
    blocks_waiting: float
    kernels: dict[str, float]


def listen(stream: np.ndarray) -> Cost:
    """Runs the listener over the stream; the first blocks, which it keeps to learn the noise, count as well."""
    from curbtick_probe.listen import Listener

    meter = Meter()
    capture = Capture(stream, meter)
    listener = Listener(Board(capture))
    with meter:
        listener.start(0)
        while len(capture.spent_cycles) < len(stream) // BLOCK:
            listener.step()
    blocks = len(capture.spent_cycles) - 1
    kernels = {name: round(cycles / blocks / BLOCK, 1) for name, cycles in meter.kernels.most_common()}
    return Cost(
        kernel_percent=100 * meter.kernel_cycles() / (blocks * BLOCK_CYCLES),
        total_percent=100 * meter.total_cycles() / (blocks * BLOCK_CYCLES),
        blocks_waiting=most_waiting(capture.spent_cycles[1:]),
        kernels=kernels,
    )


def most_waiting(spent_cycles: list[float]) -> float:
    """Blocks the ring holds at the worst moment, when block n arrives at n * BLOCK_CYCLES and each waits its turn."""
    now, worst = 0.0, 0.0
    for number, (before, after) in enumerate(zip(spent_cycles, spent_cycles[1:], strict=False)):
        now = max(now, (number + 1) * BLOCK_CYCLES) + after - before
        worst = max(worst, now / BLOCK_CYCLES - number - 1)
    return worst


def main() -> None:
    options = arguments(__doc__ or "")
    started_s = time.monotonic()
    count = BLOCK * (60 if options.short else 256)
    costs = {name: listen(make(count, np.random.default_rng(options.seed))) for name, make in STREAMS.items()}
    figures = []
    for name, cost in costs.items():
        figures.append(_share(name, cost))
        figures.append(_waiting(name, cost))
    report(figures, started_s, kernels={name: cost.kernels for name, cost in costs.items()})


def _share(name: str, cost: Cost) -> dict[str, object]:
    total = round(cost.total_percent, 1)
    entry = figure(
        f"listening, {name}", total, f"<= {SHARE_MAX_PERCENT} % of a core", total <= SHARE_MAX_PERCENT
    )
    return {**entry, "kernels_percent": round(cost.kernel_percent, 1)}


def _waiting(name: str, cost: Cost) -> dict[str, object]:
    room = module_consts(ast.parse(CAPTURE.read_text()))["RING_BLOCKS"] - 1
    waiting = round(cost.blocks_waiting, 2)
    return figure(f"blocks waiting, {name}", waiting, f"<= {room}", waiting <= room)


if __name__ == "__main__":
    main()
