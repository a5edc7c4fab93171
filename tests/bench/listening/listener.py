"""Readings by the probe's own listening code under MicroPython, from streams that a benchmark makes itself."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.bench._common import micropython_command, micropython_environment

RATE_HZ = 250_000
BLOCK = 1024
# 1.294 s, as long as a usual reading listens.
BLOCKS = 316
SAMPLES = BLOCK * BLOCKS
MIDDLE = 2047.5
# A real 12-bit converter of 8.7 effective bits: 54.1 dB below a full-scale sine (CHECKS: 6.02 N + 1.76 dB).
ADC_NOISE_CODES = MIDDLE * 10 ** (-54.1 / 20) / 2**0.5

# Columns of a sound.
TIME_US, LEVEL_CDB, FREQUENCY_HZ, SWEEP_HZ, LENGTH_US, RINGDOWN_US, EVIDENCE_CDB, KIND = range(8)


@dataclass(frozen=True)
class Heard:
    """One reading: sounds by row (the columns above), the faint train's score, how many sounds were given up."""

    sounds: np.ndarray
    score: int
    dropped: int

    def near(self, time_us: float, within_us: float = 2500) -> np.ndarray:
        """The sounds that began about a time."""
        return self.sounds[np.abs(self.sounds[:, TIME_US] - time_us) <= within_us]


def codes(analogue: np.ndarray) -> np.ndarray:
    """An ideal 12-bit converter: codes about mid-scale."""
    return np.clip(np.round(MIDDLE + analogue), 0, 4095).astype("<u2")


def hear(streams: Iterable[np.ndarray], blocks: int = BLOCKS) -> list[Heard]:
    """Readings of these streams of codes, each `blocks` long, in one firmware process."""
    given = [stream.astype("<u2").tobytes() for stream in streams]
    script = Path(__file__).with_name("probe.py")
    command = [*micropython_command(), "-X", "heapsize=2M", str(script), str(blocks), str(len(given))]
    done = subprocess.run(
        command, input=b"".join(given), stdout=subprocess.PIPE, env=micropython_environment(), check=True
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    return [Heard(_rows(a["sounds"]), a["score"], a["dropped"]) for a in answers]


def _rows(sounds: list[list[int]]) -> np.ndarray:
    return np.array(sounds, float).reshape(-1, 8)
