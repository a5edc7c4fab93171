"""Bursts longer than any sensor's: their length is what it is, and they are neither passed nor DEAD."""

from collections.abc import Iterator

import numpy as np
import pytest
from curbtick_wire.names import PASS, RETRY

from tests.unit.probe.bumper.readingdata import Codes, Prober

RATE_HZ = 250_000
SAMPLES = 350_000
RISE_MS = 0.12


@pytest.fixture(scope="module")
def prober() -> Iterator[Prober]:
    with Prober() as made:
        yield made


def stream(length_ms: float, level_dbfs: float, every_ms: float = 150.0) -> np.ndarray:
    """Tone bursts that rise and fall within a few tenths of a millisecond, in converter noise."""
    ms = 1e3 * np.arange(SAMPLES) / RATE_HZ
    since_ms = (ms - 30.0) % every_ms
    up = 1.0 - np.exp(-since_ms / RISE_MS)
    down = np.exp(-np.clip(since_ms - length_ms, 0.0, None) / RISE_MS)
    gate = np.where(ms >= 30.0, up * down, 0.0)
    noise = np.random.default_rng(1).normal(0.0, 2.5, SAMPLES)
    wave = 2047.5 * 10 ** (level_dbfs / 20) * gate * np.sin(2 * np.pi * 48.0 * ms)
    return np.asarray(np.clip(np.rint(2048 + wave + noise), 0, 4095), dtype=np.uint16)


@pytest.mark.parametrize("level_dbfs", [-10.0, -33.0])
@pytest.mark.parametrize("length_ms", [4.0, 5.3, 6.1, 6.9, 9.0])
def test_a_long_burst_is_as_long_as_it_is_and_no_verdict(
    prober: Prober, length_ms: float, level_dbfs: float
) -> None:
    """Beyond 8 ms, with its tail, a burst is measured by its frames, up to 2 ms too long."""
    reading = prober.take(Codes(stream(length_ms, level_dbfs)), before_us=150_000)
    loud = np.array(reading.heard["level_cdb"]) > 100 * level_dbfs - 300
    lengths_us = np.array(reading.heard["length_us"])[loud]
    assert len(lengths_us) >= 7
    assert (lengths_us > 1000 * length_ms - 250).all() and (lengths_us < 1000 * length_ms + 2000).all()
    assert (reading.verdict, reading.reasons) == (RETRY, ["not_a_burst"])


def test_a_burst_of_two_milliseconds_passes(prober: Prober) -> None:
    reading = prober.take(Codes(stream(2.0, -10.0)))
    assert reading.verdict == PASS
    assert abs(reading.values["burst_us"] - 2000) < 150
