"""Noise that lasts: broadband kinds behind the front end, their loudness over time, and steady tones.

A broadband kind is a circular bank of two seconds of Gaussian noise, shaped once by the kind's spectrum and the
front end and read on from a random place, so that it goes on without a seam. Its level is its rms over 30-80 kHz on
the low input. Spectral slopes are assumptions within what is common practice: tyre and air noise are broadband with a
fall towards high frequencies, an engine's falls steeply (what it has over 30-80 kHz is 32 dB below what the
high-passes leave of it), rain is near flat.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt
from curbtick_wire.names import INPUT_LOW
from curbtick_wire.sampling import RATE_HZ
from scipy import fft

from curbtick.yard.front_end.inputs import (
    BAND_HIGH_HZ,
    BAND_LOW_HZ,
    FloatArray,
    Volts,
    codes_of_peak_dbfs,
    codes_of_rms_dbfs,
    response,
)
from curbtick.yard.front_end.timebase import TICKS_PER_SAMPLE, ticks_of_ms

BANK = 2**19
# Corner in Hz and fall beyond it in dB per octave.
SLOPES = {
    "flat": (100_000.0, 6.0),
    "hiss": (45_000.0, 6.0),
    "tyre": (12_000.0, 6.0),
    "rumble": (2_500.0, 15.0),
}


def _spectrum(kind: str, frequency_hz: FloatArray) -> FloatArray:
    corner_hz, fall_db = SLOPES[kind]
    octaves = np.log2(np.maximum(frequency_hz, corner_hz) / corner_hz)
    shape: FloatArray = 10.0 ** (-fall_db * octaves / 20.0)
    return shape


@lru_cache(maxsize=12)
def bank(kind: str, input_: int) -> Volts:
    """Return the circular bank of a kind behind an input, scaled to rms 1 code over 30-80 kHz on the low input."""
    random = np.random.default_rng(sum(kind.encode()))
    frequency_hz = fft.rfftfreq(BANK, 1.0 / RATE_HZ)
    white = random.standard_normal(len(frequency_hz)) + 1j * random.standard_normal(len(frequency_hz))
    sound = white * _spectrum(kind, frequency_hz)
    low = sound * response(INPUT_LOW, frequency_hz)
    inside = (frequency_hz >= BAND_LOW_HZ) & (frequency_hz <= BAND_HIGH_HZ)
    rms = np.sqrt(2.0 * (np.abs(low[inside]) ** 2).sum()) / BANK
    out: Volts = (fft.irfft(sound * response(input_, frequency_hz), BANK) / rms).astype(np.float32)
    out.flags.writeable = False
    return out


def _circular(values: Volts, start: int, count: int) -> Volts:
    start %= len(values)
    if start + count <= len(values):
        return values[start : start + count]
    part: Volts = np.take(values, np.arange(start, start + count), mode="wrap")
    return part


class Layer(Protocol):
    """A sound that lasts."""

    def add_to(self, block: Volts, start_tick: int, input_: int) -> None:
        """Add the sound to a block of samples that starts at a tick."""

    def band_power(self, start_tick: int, end_tick: int) -> float:
        """Return its mean power over 30-80 kHz on the low input from one tick to another, in codes squared."""


@dataclass(frozen=True)
class Gusts:
    """Loudness over time: points (tick within the period, level in dB) joined by straight lines in gain."""

    ticks: tuple[int, ...]
    levels_db: tuple[float, ...]
    period_ticks: int

    def at(self, tick: npt.NDArray[Any]) -> FloatArray:
        """Return the gains at ticks."""
        gains = [10.0 ** (level_db / 20.0) for level_db in self.levels_db]
        out: FloatArray = np.interp(tick % self.period_ticks, self.ticks, gains, period=self.period_ticks)
        return out


@dataclass(frozen=True)
class Broadband:
    """A broadband noise of one kind at level_dbfs (rms over 30-80 kHz, low input), steady or in gusts.

    start: where in its bank it begins, 0..BANK-1.
    """

    kind: str
    level_dbfs: float
    start: int
    gusts: Gusts | None = None

    @property
    def rms_codes(self) -> float:
        """rms over 30-80 kHz on the low input, in codes, before gusts."""
        return codes_of_rms_dbfs(self.level_dbfs)

    def add_to(self, block: Volts, start_tick: int, input_: int) -> None:
        """Add the noise to a block of samples that starts at a tick."""
        first = start_tick // TICKS_PER_SAMPLE + self.start
        part = _circular(bank(self.kind, input_), first, len(block))
        if self.gusts is None:
            block += part * np.float32(self.rms_codes)
            return
        ticks = start_tick + TICKS_PER_SAMPLE * np.arange(0, len(block) + 255, 256)
        gains = self.gusts.at(ticks) * self.rms_codes
        smooth = np.interp(np.arange(len(block)), np.arange(len(gains)) * 256, gains)
        block += part * smooth.astype(np.float32)

    def band_power(self, start_tick: int, end_tick: int) -> float:
        """Return the mean power over 30-80 kHz on the low input, in codes squared."""
        if self.gusts is None:
            return self.rms_codes**2
        gains = self.gusts.at(np.linspace(start_tick, end_tick, 512))
        return float((gains**2).mean()) * self.rms_codes**2


@lru_cache(maxsize=64)
def _tone(frequency_hz: int, input_: int) -> Volts:
    """One second of a tone of a whole number of Hz behind an input, peak 1 code at unity gain."""
    gain = response(input_, np.array([float(frequency_hz)]))[0]
    phase = 2.0 * np.pi * frequency_hz * np.arange(RATE_HZ) / RATE_HZ
    out: Volts = (np.abs(gain) * np.sin(phase + np.angle(gain))).astype(np.float32)
    return out


@dataclass(frozen=True)
class Spur:
    """A steady tone, as a switching supply's: whole Hz, peak level in dBFS at unity gain of the low input.

    gate: None for a steady tone, else (interval_ms, length_ms) of a converter that works in packets.
    """

    frequency_hz: int
    level_dbfs: float
    gate_ms: tuple[float, float] | None = None

    def add_to(self, block: Volts, start_tick: int, input_: int) -> None:
        """Add the tone to a block of samples that starts at a tick."""
        part = _circular(_tone(self.frequency_hz, input_), start_tick // TICKS_PER_SAMPLE, len(block))
        part = part * np.float32(codes_of_peak_dbfs(self.level_dbfs))
        if self.gate_ms is not None:
            period_ms, on_ms = self.gate_ms
            ticks = start_tick + TICKS_PER_SAMPLE * np.arange(len(block))
            part *= ticks % ticks_of_ms(period_ms) < ticks_of_ms(on_ms)
        block += part

    def band_power(self, start_tick: int, end_tick: int) -> float:
        """Return the mean power over 30-80 kHz on the low input, in codes squared (start and end do not matter)."""
        if not BAND_LOW_HZ <= self.frequency_hz <= BAND_HIGH_HZ:
            return 0.0
        period_ms, on_ms = self.gate_ms or (1.0, 1.0)
        duty = on_ms / period_ms
        return codes_of_rms_dbfs(self.level_dbfs) ** 2 * duty
