"""What the seal and hiss checks' meters cost on the chip, as tests.bench.target counts it; its figures go there."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.bench._common import figure
from tests.bench.target import __main__ as target
from tests.target.board.doubles.fake_board import FakeBoard
from tests.target.meter import Meter

SHARE_MAX_PERCENT = 60
UPDATES = 3
UPDATE_BLOCKS = 48
LIMITS = {"revision": 1, "seal_leak_cdb": 2400, "hiss_rise_cdb": 50, "high_floor_min_cdb": -5000}


def _tone_in_noise(samples: int, random: np.random.Generator) -> np.ndarray:
    at_s = np.arange(samples) / target.RATE_HZ
    volts = 200.0 * np.sin(2 * np.pi * 15_020 * at_s) + 20.0 * random.standard_normal(samples)
    codes: np.ndarray = np.clip(np.rint(2047.5 + volts), 0, 4095).astype(np.uint16)
    return codes


def _seal(board: Any) -> Any:
    from curbtick_probe.seal.check import SealCheck

    return SealCheck(board, 15_000, LIMITS)


def _hiss(board: Any) -> Any:
    from curbtick_probe.hiss.check import HissCheck

    check = HissCheck(board, LIMITS)
    check.start()
    check.background(3, 1)
    check.stop()
    return check


CHECKS = {"seal check": _seal, "hiss check": _hiss}


def figures(ring_blocks: int, seed: int) -> list[dict[str, Any]]:
    """Share of a core and blocks waiting of each check, over updates with a tone in noise.

    ring_blocks: what the capture keeps. The hiss check has its background by then, so that updates judge too.
    """
    made: list[dict[str, Any]] = []
    stream = _tone_in_noise(target.BLOCK * UPDATE_BLOCKS, np.random.default_rng(seed))
    for name, make in CHECKS.items():
        meter = Meter()
        capture = target.Capture(stream, meter)
        check = make(FakeBoard(capture))
        with meter:
            check.start()
            for _ in range(UPDATES):
                check.update()
            end = meter.total_cycles()
        run = [*capture.spent_cycles[-1], end]
        share = 100 * (run[-1] - run[1]) / ((len(run) - 2) * target.BLOCK_CYCLES)
        waiting = round(target.most_waiting(run[1:]), 2)
        bound = f"<= {SHARE_MAX_PERCENT} % of a core"
        samples = (len(run) - 2) * target.BLOCK
        kernels = {kernel: round(spent / samples, 1) for kernel, spent in meter.kernels.most_common()}
        listening = figure(f"{name}: listening", round(share, 1), bound, share <= SHARE_MAX_PERCENT)
        made.append({**listening, "kernels": kernels})
        made.append(
            figure(f"{name}: blocks waiting", waiting, f"<= {ring_blocks - 1}", waiting <= ring_blocks - 1)
        )
    return made
