"""What a reading costs on the chip: `python -m tests.bench.target [--json] [--seed N] [--short]`.

The probe's own listening code runs over streams that load it in different ways, its kernels as armv6m machine code on
an emulated Cortex-M0+ (tests/target/meter.py says what is exact and what is estimated). Bounds: the worst stream takes
at most 60 % of 125 MHz at 250 kS/s, no block comes too late for the capture ring, and a verdict stands at most 150 ms
after the last sample.
"""

from __future__ import annotations

import ast
from array import array
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from tests.bench._common import arguments, figure, report
from tests.target.board.doubles.fake_board import FakeBoard
from tests.target.core import FIRMWARE
from tests.target.hand_over import HandOver
from tests.target.meter import Meter, cycles_per_bytecode
from tests.target.shim import module_consts

CLOCK_HZ = 125_000_000
RATE_HZ = 250_000
BLOCK = 1024
BUDGET_CYCLES = CLOCK_HZ / RATE_HZ
BLOCK_CYCLES = BUDGET_CYCLES * BLOCK
SHARE_MAX_PERCENT = 60
AFTER_LAST_SAMPLE_MAX_MS = 150
# A fresh board's heap (measured on MicroPython 1.28, RPI_PICO), and what a running probe must leave of it.
FREE_HEAP_BYTES = 241_824
HEAP_TO_LEAVE_BYTES = 40_000
# Heap that a byte of a squeezed .mpy file takes once it is imported: 150,688 of 107,820 on MicroPython 1.28.0 on the
# emulated board (hardware_notes/emulated.md).
HEAP_PER_MPY_PERMILLE = 1400
# Files of which at most one row is loaded at a time: what loads one gives the others back (app/modules.py).
IN_TURN = (
    ("curbtick_probe/app/selftest.mpy",),
    ("curbtick_probe/dsp/fft.mpy", "curbtick_probe/seal/check.mpy"),
    ("curbtick_probe/dsp/fft.mpy", "curbtick_probe/hiss/check.mpy"),
)
CAPTURE = FIRMWARE / "curbtick_probe/board/rp2/adc_dma.py"

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

SHORT = ("quiet", "four sensors in turn, every 33 ms")


@dataclass
class Capture:
    """Hands a stream to the firmware, block by block and round again, and notes the cycles spent at each hand-over.

    `spent_cycles` has a list for each start: the cycles at the start, then those at each block.
    """

    stream: np.ndarray
    meter: Meter
    hand_over: HandOver = field(default_factory=HandOver)
    overruns: int = 0
    spent_cycles: list[list[float]] = field(default_factory=list)

    def start(self, _source: int) -> None:
        self.spent_cycles.append([self.meter.total_cycles()])

    def stop(self) -> None:
        """Nothing to stop."""

    def whole(self) -> int:
        """As a ring in which little waits."""
        return 4

    def block(self) -> array[int]:
        self.hand_over.take()
        run = self.spent_cycles[-1]
        run.append(self.meter.total_cycles())
        at = (len(run) - 2) * BLOCK % len(self.stream)
        return array("H", self.stream[at : at + BLOCK].tobytes())


@dataclass(frozen=True)
class Cost:
    """What one reading cost.

    total_percent, kernel_percent: of a core while listening. blocks_waiting: in the ring at the worst moment.
    after_ms: from the last sample to the verdict. kernels: cycles a sample of each, over the whole reading.
    """

    kernel_percent: float
    total_percent: float
    blocks_waiting: float
    after_ms: float
    listened_ms: int
    kernels: dict[str, float]


def read(stream: np.ndarray) -> Cost:
    """Takes a reading from the stream, as the app does, with a class of 48 kHz and the factory's limits."""
    from curbtick_probe.bumper import reading
    from curbtick_wire import classes, settings

    meter = Meter()
    capture = Capture(stream, meter)
    reader = reading.Reader(FakeBoard(capture))
    with meter:
        taken = reader.take(classes.factory_classes()[1], settings.FACTORY_SET, 0)
    listening = capture.spent_cycles[0]
    budget = (len(listening) - 1) * BLOCK_CYCLES
    total = listening[-1] - listening[0]
    share = meter.kernel_cycles() / meter.total_cycles()
    return Cost(
        kernel_percent=100 * total * share / budget,
        total_percent=100 * total / budget,
        blocks_waiting=max(most_waiting(run[1:]) for run in capture.spent_cycles),
        after_ms=1000 * (meter.total_cycles() - capture.spent_cycles[-1][-1]) / CLOCK_HZ,
        listened_ms=taken.values["listened_ms"],
        kernels={
            name: round(spent / (budget / BUDGET_CYCLES), 1) for name, spent in meter.kernels.most_common()
        },
    )


def most_waiting(spent_cycles: list[float]) -> float:
    """Blocks the ring holds at the worst moment, when block n arrives at n * BLOCK_CYCLES and each waits its turn."""
    now, worst = 0.0, 0.0
    for number, (before, after) in enumerate(pairwise(spent_cycles)):
        now = max(now, (number + 1) * BLOCK_CYCLES) + after - before
        worst = max(worst, now / BLOCK_CYCLES - number - 1)
    return worst


def figures_of(name: str, cost: Cost, ring_blocks: int) -> list[dict[str, object]]:
    """The three bounded figures of one stream's reading."""
    total, waiting, after = (
        round(cost.total_percent, 1),
        round(cost.blocks_waiting, 2),
        round(cost.after_ms, 1),
    )
    share = figure(
        f"{name}: listening", total, f"<= {SHARE_MAX_PERCENT} % of a core", total <= SHARE_MAX_PERCENT
    )
    bound = f"<= {AFTER_LAST_SAMPLE_MAX_MS} ms"
    return [
        {**share, "kernels_percent": round(cost.kernel_percent, 1), "listened_ms": cost.listened_ms},
        figure(f"{name}: blocks waiting", waiting, f"<= {ring_blocks - 1}", waiting <= ring_blocks - 1),
        figure(f"{name}: last sample to verdict", after, bound, after <= AFTER_LAST_SAMPLE_MAX_MS),
    ]


def memory_figures(ring_blocks: int) -> list[dict[str, object]]:
    """Bytes of heap of the modules that are loaded at once and of a reading's buffers; not of other objects."""
    from curbtick.install import image
    from curbtick_probe.bumper import reading

    code = loaded_bytes(image.build().files) * HEAP_PER_MPY_PERMILLE // 1000
    ring = 2 * BLOCK * ring_blocks
    buffers = ring + buffer_bytes(reading.Reader(FakeBoard(Capture(np.zeros(BLOCK, np.uint16), Meter()))))
    room = FREE_HEAP_BYTES - HEAP_TO_LEAVE_BYTES
    return [
        {
            **figure("modules and buffers", code + buffers, f"<= {room} B", code + buffers <= room),
            "buffers": buffers,
        }
    ]


def loaded_bytes(files: dict[str, bytes]) -> int:
    """Bytes of the files that are always loaded, and of the largest row of those that come in turn. Raises KeyError."""
    sizes = {path: len(data) for path, data in files.items()}
    largest = max(sum(sizes[path] for path in row) for row in IN_TURN)
    return sum(sizes.values()) - sum(sizes[path] for path in set().union(*IN_TURN)) + largest


def buffer_bytes(root: object) -> int:
    """Bytes of every array, bytearray and bytes that can be reached from an object of the firmware."""
    found: dict[int, int] = {}
    waiting, seen = [root], set()
    while waiting:
        thing = waiting.pop()
        if id(thing) in seen:
            continue
        seen.add(id(thing))
        if isinstance(thing, array | bytearray | bytes):
            found[id(thing)] = len(memoryview(thing).cast("B"))
        elif isinstance(thing, dict | list | tuple):
            waiting.extend(thing.values() if isinstance(thing, dict) else thing)
        elif type(thing).__module__.startswith("curbtick_probe"):
            waiting.append(vars(thing))
    return sum(found.values())


def main() -> None:
    """Run everything and report."""
    from tests.bench.target import leaks

    options = arguments(__doc__ or "")
    ring_blocks = module_consts(ast.parse(CAPTURE.read_text()))["RING_BLOCKS"]
    figures, kernels = [], {}
    for name in SHORT if options.short else STREAMS:
        cost = read(STREAMS[name](BLOCK * 256, np.random.default_rng(options.seed)))
        figures += figures_of(name, cost, ring_blocks)
        kernels[name] = cost.kernels
    figures += leaks.figures(ring_blocks, options.seed)
    figures += memory_figures(ring_blocks)
    report(figures, options, kernels=kernels, cycles_per_bytecode=round(cycles_per_bytecode()))


if __name__ == "__main__":
    main()
