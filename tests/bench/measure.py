"""How right a measured burst is: `python -m tests.bench.measure [--json] [--seed N] [--short]`.

Bursts that the bench makes itself, heard by the real firmware under MicroPython. A level's truth is the peak of the
band-limited analytic envelope of the very burst (30-80 kHz, by FFT); a frequency's is the carrier; a length's is the
time that the envelope spends within 6 dB of its peak. Bounds: level within 0.5 dB in the worst case without noise,
36-72 kHz, -3 to -40 dBFS, any phase and place; 0.3 dB rms for the median of five bursts in the converter's own noise,
down to -35 dBFS; frequency rms within 1.5 times the Cramer-Rao bound on a gated tone (Rife & Boorstyn 1974), and within
150 Hz on a burst's shape; interval within 0.1 ms; length within 10 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.bench._common import arguments, figure, report
from tests.bench.listening.bursts import Shape
from tests.bench.listening.listener import (
    ADC_NOISE_CODES,
    FREQUENCY_HZ,
    LENGTH_US,
    LEVEL_CDB,
    MIDDLE,
    RATE_HZ,
    SAMPLES,
    TIME_US,
    Heard,
    codes,
    hear,
)

EVERY = 25_000
FIRST = 20_000
ROOM = 1400
STARTS = np.arange(FIRST, SAMPLES - EVERY, EVERY)
TONE_US = 1000
# The probe takes a frequency from the part within 6 dB of the peak, less three values of 16 us at either end, which
# hold its edges; the bound is that part's.
EDGES_US = 96


@dataclass(frozen=True)
class Sent:
    """A burst as it was sent, and what is true of it."""

    start: float
    frequency_hz: float
    level_db: float
    length_us: float


class Tone(Shape):
    """A gated tone of TONE_US: its edges are as sharp as the sampling."""

    def envelope(self, time_us: np.ndarray) -> np.ndarray:
        """1 within the gate, 0 outside."""
        return np.where((time_us >= 0) & (time_us < TONE_US), 1.0, 0.0)

    def length_us(self) -> float:
        """The gate's."""
        return TONE_US


def peak_db(wave: np.ndarray) -> float:
    """The peak of the analytic envelope over 30-80 kHz, eight times oversampled, in dBFS."""
    spectrum = np.fft.fft(wave, 4096)
    lines_hz = np.fft.fftfreq(4096, 1 / RATE_HZ)
    spectrum[(lines_hz < 30_000) | (lines_hz > 80_000)] = 0
    padded = np.concatenate([spectrum[:2048], np.zeros(7 * 4096, complex), spectrum[2048:]])
    return 20 * math.log10(16 * float(np.max(np.abs(np.fft.ifft(padded)))) / MIDDLE)


def stream_of(
    shape: Shape,
    frequency_hz: float,
    amplitude: float,
    sigma: float,
    source: np.random.Generator,
    starts: np.ndarray = STARTS,
) -> tuple[np.ndarray, list[Sent]]:
    """A reading's codes with a burst near each start, at any phase and any place against a block, and what was sent."""
    stream = source.normal(0, sigma, SAMPLES) if sigma else np.zeros(SAMPLES)
    sent = []
    for start in starts + source.integers(0, 2048):
        part = source.random()
        wave = amplitude * shape.wave(ROOM, part, frequency_hz, source.uniform(0, 2 * math.pi))
        stream[start : start + ROOM] += wave
        sent.append(Sent(start + part, frequency_hz, peak_db(wave), shape.length_us()))
    return codes(stream), sent


def matched(heard: Heard, sent: list[Sent]) -> list[tuple[np.ndarray, Sent]]:
    """Each burst with the loudest sound that began about it; a burst that was not heard is an error."""
    pairs = []
    for burst in sent:
        near = heard.near(burst.start * 1e6 / RATE_HZ, 1500)
        if not len(near):
            raise LookupError(f"nothing was heard of {burst}")
        pairs.append((near[np.argmax(near[:, LEVEL_CDB])], burst))
    return pairs


def measured(
    shapes: list[tuple[Shape, float, float]], sigma: float, source: np.random.Generator
) -> list[list[tuple[np.ndarray, Sent]]]:
    """Readings of bursts of (shape, frequency, amplitude), each with what was sent."""
    made = [stream_of(shape, hz, amplitude, sigma, source) for shape, hz, amplitude in shapes]
    heard = hear([stream for stream, _ in made])
    return [matched(h, sent) for h, (_, sent) in zip(heard, made, strict=True)]


def sixteen_cycles(frequency_hz: float) -> Shape:
    """Sixteen cycles of drive, a hundred microseconds of decay."""
    return Shape(16e6 / frequency_hz, 100)


def amplitude_at(level_db: float) -> float:
    return MIDDLE * 10 ** (level_db / 20)


def level_errors_db(pairs: list[tuple[np.ndarray, Sent]]) -> np.ndarray:
    return np.array([sound[LEVEL_CDB] / 100 - burst.level_db for sound, burst in pairs])


def without_noise(
    step_hz: int, levels_db: tuple[float, ...], source: np.random.Generator
) -> dict[str, float]:
    """The worst errors of level, length and interval."""
    grid = [(hz, level) for hz in range(36_000, 72_001, step_hz) for level in levels_db]
    readings = measured([(sixteen_cycles(hz), hz, amplitude_at(level)) for hz, level in grid], 0, source)
    pairs = [pair for reading in readings for pair in reading]
    lengths = [sound[LENGTH_US] / burst.length_us - 1 for sound, burst in pairs]
    return {
        "bursts": len(pairs),
        "level_db": round(float(np.max(np.abs(level_errors_db(pairs)))), 3),
        "length_percent": round(100 * float(np.max(np.abs(lengths))), 1),
        "interval_us": round(
            max(float(np.max(np.abs(interval_errors_us(reading)))) for reading in readings), 1
        ),
    }


def interval_errors_us(pairs: list[tuple[np.ndarray, Sent]]) -> np.ndarray:
    """Errors of the times between neighbouring bursts."""
    heard_us = np.array([sound[TIME_US] for sound, _ in pairs])
    sent_us = np.array([burst.start * 1e6 / RATE_HZ for _, burst in pairs])
    return np.diff(heard_us) - np.diff(sent_us)


def median_level_rms_db(level_db: float, readings: int, source: np.random.Generator) -> float:
    """Rms error of the median level of five bursts in the converter's noise."""
    carriers_hz = source.uniform(36_000, 72_000, readings)
    shapes = [(sixteen_cycles(hz), hz, amplitude_at(level_db)) for hz in carriers_hz]
    errors = [level_errors_db(reading) for reading in measured(shapes, ADC_NOISE_CODES, source)]
    medians = [np.median(error[k : k + 5]) for error in errors for k in range(0, len(error) - 4, 5)]
    return round(float(np.sqrt(np.mean(np.square(medians)))), 3)


def frequency_rms_hz(
    shape: Shape, amplitude: float, sigma: float, readings: int, source: np.random.Generator
) -> float:
    """Rms error of a burst's frequency in noise, carriers over the band."""
    carriers_hz = source.uniform(36_000, 72_000, readings)
    found = measured([(shape, hz, amplitude) for hz in carriers_hz], sigma, source)
    errors = [sound[FREQUENCY_HZ] - burst.frequency_hz for reading in found for sound, burst in reading]
    return float(np.sqrt(np.mean(np.square(errors))))


def cramer_rao_hz(snr_db: float, duration_us: int) -> float:
    """The least rms error of any estimate from a real tone so long: 12 fs**2 / ((2 pi)**2 eta N (N**2 - 1))."""
    count = duration_us * RATE_HZ // 1_000_000
    eta = 10 ** (snr_db / 10)
    return math.sqrt(12 * RATE_HZ**2 / ((2 * math.pi) ** 2 * eta * count * (count**2 - 1)))


def tone_figures(readings: int, source: np.random.Generator) -> list[dict[str, object]]:
    """Frequency of gated tones against the Cramer-Rao bound, at three ratios of signal to noise power."""
    found: list[dict[str, object]] = []
    for snr_db in (20, 25, 30):
        amplitude = 400.0
        sigma = amplitude / math.sqrt(2) / 10 ** (snr_db / 20)
        rms_hz = frequency_rms_hz(Tone(), amplitude, sigma, readings, source)
        bound_hz = cramer_rao_hz(snr_db, TONE_US - EDGES_US)
        ratio = round(rms_hz / bound_hz, 2)
        name = f"frequency of a 1 ms tone at {snr_db} dB over Cramer-Rao of the part used"
        found.append(
            {
                **figure(name, ratio, "<= 1.5", ratio <= 1.5),
                "rms_hz": round(rms_hz, 1),
                "least_hz": round(bound_hz, 1),
                "over_that_of_the_whole_tone": round(rms_hz / cramer_rao_hz(snr_db, TONE_US), 2),
            }
        )
    return found


def burst_figures(readings: int, source: np.random.Generator) -> list[dict[str, object]]:
    """Level and frequency of bursts in the converter's own noise."""
    found: list[dict[str, object]] = []
    for level_db in (-8, -20, -35):
        rms_db = median_level_rms_db(level_db, readings, source)
        name = f"level, rms of the median of five at {level_db} dBFS"
        found.append(figure(name, rms_db, "<= 0.3 dB", rms_db <= 0.3))
        rms_hz = round(
            frequency_rms_hz(Shape(400, 150), amplitude_at(level_db), ADC_NOISE_CODES, readings, source), 1
        )
        name = f"frequency, rms on a burst at {level_db} dBFS"
        found.append(figure(name, rms_hz, "<= 150 Hz", rms_hz <= 150))
    return found


def main() -> None:
    options = arguments(__doc__ or "")
    source = np.random.default_rng(options.seed)
    step_hz, levels_db = (
        (6000, (-3.0, -40.0)) if options.short else (1000, (-3.0, -10.0, -20.0, -30.0, -40.0))
    )
    readings = 3 if options.short else 20
    worst = without_noise(step_hz, levels_db, source)
    figures: list[dict[str, object]] = [
        figure("level without noise, worst", worst["level_db"], "<= 0.5 dB", worst["level_db"] <= 0.5),
        figure(
            "length without noise, worst", worst["length_percent"], "<= 10 %", worst["length_percent"] <= 10
        ),
        figure(
            "interval without noise, worst", worst["interval_us"], "<= 100 us", worst["interval_us"] <= 100
        ),
    ]
    figures += burst_figures(readings, source)
    figures += tone_figures(readings, source)
    report(figures, options, bursts_without_noise=worst["bursts"])


if __name__ == "__main__":
    main()
