"""How faint a burst the probe finds: `python -m tests.bench.limit [--json] [--seed N] [--short]`.

Single bursts and trains in white noise, heard by the real firmware under MicroPython. Its continuous statistics are a
sound's evidence (energy over noise density; a reading's highest is its record's `single_cdb`) and the score of a
reading's faint train (`train_cdb`). Each gets the threshold that noise alone passes in one reading of a thousand
(extrapolated from some hundred readings of noise); then the burst energy over noise power per sample is sought at
which nine of ten are found. Beside it, on the same samples: a float generalised likelihood ratio that knows the burst's
envelope and seeks its time and frequency; and theory, an envelope detector of known shape (Marcum's Q; Albersheim's
formula) with as many chances as a reading has cells.
Bounds: single bursts within 2 dB of the reference with the class known, 3 dB without; trains of six at least 1 dB
better than single bursts; no burst of -45 dBFS is missed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize, signal, stats

from tests.bench._common import arguments, figure, report
from tests.bench.listening.bursts import Shape
from tests.bench.listening.listener import (
    ADC_NOISE_CODES,
    EVIDENCE_CDB,
    FREQUENCY_HZ,
    MIDDLE,
    RATE_HZ,
    SAMPLES,
    Heard,
    codes,
    hear,
)

PFA, PD = 1e-3, 0.9
BAND_HZ = (30_000, 80_000)
WINDOW_HZ = 6500
EVERY = 25_000  # samples between single bursts: 100 ms
FIRST = 20_000
TRAIN_INTERVAL = 50_000
SINGLE_DB = (15.0, 16.0, 17.0, 18.0, 19.0, 20.0)
TRAIN_DB = (13.0, 14.0, 15.0, 16.0, 17.0)
DECIMATED = 4
REFERENCE_POINTS = 256


@dataclass(frozen=True)
class Kind:
    """A kind of burst: its class, the offset of its carrier from it, its shape."""

    name: str
    class_hz: int
    shape: Shape

    def window_hz(self) -> tuple[int, int]:
        """The frequencies that the class allows."""
        return self.class_hz - WINDOW_HZ, self.class_hz + WINDOW_HZ


KINDS = (
    Kind("40 kHz, 16 cycles", 40_000, Shape(400, 150)),
    Kind("48 kHz, 0.3 ms", 48_000, Shape(300, 100)),
    Kind("58 kHz, 16 cycles", 58_000, Shape(273, 100)),
    Kind("68 kHz, 8 cycles", 68_000, Shape(118, 70)),
    Kind("48 kHz, sweeping 3 kHz in 0.8 ms", 48_000, Shape(800, 150, 3000)),
)


class Reference:
    """A float generalised likelihood ratio over time and frequency, with the burst's envelope known."""

    def __init__(self, shape: Shape) -> None:
        self.taps = signal.firwin(129, 27_000, fs=RATE_HZ)
        count = math.ceil((shape.drive_us + 4 * shape.decay_us) * RATE_HZ / 1e6 / DECIMATED)
        window = shape.envelope((np.arange(count) + 0.5) * DECIMATED / RATE_HZ * 1e6)
        self.window = window / np.linalg.norm(window)
        lines_hz = np.fft.fftfreq(REFERENCE_POINTS, DECIMATED / RATE_HZ) + 55_000
        self.lines_hz = lines_hz

    def baseband(self, stream: np.ndarray) -> np.ndarray:
        """The band about 55 kHz, complex, at a quarter of the rate; the noise density is that of the samples."""
        turned = (stream - MIDDLE) * np.exp(-2j * np.pi * 55_000 * np.arange(len(stream)) / RATE_HZ)
        filtered: np.ndarray = signal.upfirdn(self.taps, turned, 1, DECIMATED)[64 // DECIMATED :]
        return filtered * math.sqrt(DECIMATED)

    def statistic(self, values: np.ndarray, range_hz: tuple[int, int], sigma: float) -> float:
        """The largest |correlation|**2 over noise power per sample, at any time and any frequency of the range."""
        frames = np.lib.stride_tricks.sliding_window_view(values, len(self.window))[::2]
        lines = (range_hz[0] <= self.lines_hz) & (self.lines_hz <= range_hz[1])
        best = 0.0
        for part in np.array_split(frames, max(1, len(frames) // 4096)):
            spectra = np.fft.fft((part * self.window).astype(np.complex64), REFERENCE_POINTS)
            best = max(best, float(np.max(np.abs(spectra[:, lines]) ** 2)))
        return 2 * best / sigma**2


def tail_threshold(highest: np.ndarray) -> float:
    """What a reading's highest of noise passes once in 1 / PFA, by an exponential law fitted to its upper 30 %."""
    knee = float(np.quantile(highest, 0.7))
    beyond = highest[highest > knee] - knee
    return knee + float(np.mean(beyond)) * math.log(len(beyond) / len(highest) / PFA)


def evidence(heard: np.ndarray, range_hz: tuple[int, int]) -> float:
    """The highest evidence among sounds in a range of frequencies, as a power ratio; 0 for none."""
    in_range = (range_hz[0] <= heard[:, FREQUENCY_HZ]) & (heard[:, FREQUENCY_HZ] <= range_hz[1])
    return float(10 ** (np.max(heard[in_range, EVIDENCE_CDB], initial=-10_000) / 1000))


def energy_at(pd_of: dict[float, float]) -> float:
    """The energy in dB at which Pd is reached, by a probit line through the shares found at several energies."""
    energies = np.array(list(pd_of))
    shares = np.array(list(pd_of.values()))

    def misfit(line: np.ndarray) -> float:
        expected = np.clip(stats.norm.cdf((energies - line[0]) / abs(line[1])), 1e-6, 1 - 1e-6)
        return -float(np.sum(shares * np.log(expected) + (1 - shares) * np.log(1 - expected)))

    middle, width = optimize.minimize(
        misfit, np.array([float(np.mean(energies)), 1.0]), method="Nelder-Mead"
    ).x
    return float(middle + abs(width) * stats.norm.ppf(PD))


def theory_db(range_hz: tuple[int, int]) -> tuple[float, float]:
    """Energy over noise power per sample by Marcum's Q and by Albersheim, with a reading's cells as chances.

    Cells: the range's bandwidth times the reading's time. A detector of known shape and unknown phase has the law of a
    non-central chi-square of 2 degrees and non-centrality energy / noise power per sample, twice Albersheim's ratio.
    """
    cells = (range_hz[1] - range_hz[0]) * SAMPLES / RATE_HZ
    pfa = PFA / cells
    threshold = -2 * math.log(pfa)
    energy = optimize.brentq(lambda e: stats.ncx2.sf(threshold, 2, e) - PD, 1, 1000)
    a, b = math.log(0.62 / pfa), math.log(PD / (1 - PD))
    return 10 * math.log10(energy), 10 * math.log10(a + 0.12 * a * b + 1.7 * b) + 10 * math.log10(2)


def noise(count: int, source: np.random.Generator) -> np.ndarray:
    return source.normal(0, ADC_NOISE_CODES, count)


def scaled(wave: np.ndarray, energy_db: float) -> np.ndarray:
    """A wave with this energy over the noise power per sample."""
    return wave * math.sqrt(10 ** (energy_db / 10) * ADC_NOISE_CODES**2 / float(np.sum(wave**2)))


def with_bursts(kind: Kind, starts: np.ndarray, energy_db: float, source: np.random.Generator) -> np.ndarray:
    """Noise with a burst at each start, each with its own phase; carriers within 5 kHz of the class."""
    stream = noise(SAMPLES, source)
    for start in starts:
        carrier_hz = kind.class_hz + source.uniform(-5000, 5000)
        wave = kind.shape.wave(1200, source.random(), carrier_hz, source.uniform(0, 2 * math.pi))
        stream[start : start + 1200] += scaled(wave, energy_db)
    return codes(stream)


@dataclass
class Noise:
    """Readings of noise alone and what they give."""

    heard: list[Heard]
    streams: list[np.ndarray]

    def evidence_threshold(self, range_hz: tuple[int, int]) -> float:
        return tail_threshold(np.array([evidence(h.sounds, range_hz) for h in self.heard]))

    def score_threshold(self) -> float:
        return tail_threshold(np.array([h.score for h in self.heard], float))

    def reference_threshold(self, reference: Reference, range_hz: tuple[int, int], most: int) -> float:
        values = [reference.baseband(stream) for stream in self.streams[:most]]
        return tail_threshold(np.array([reference.statistic(v, range_hz, ADC_NOISE_CODES) for v in values]))


def single(
    kind: Kind, quiet: Noise, readings: int, references: int, source: np.random.Generator
) -> dict[str, float]:
    """Energies in dB at which single bursts are found: by the firmware and the reference, class known or not."""
    ranges = {"class": kind.window_hz(), "auto": BAND_HZ}
    reference = Reference(kind.shape)
    ours = {name: quiet.evidence_threshold(r) for name, r in ranges.items()}
    theirs = {name: quiet.reference_threshold(reference, r, references) for name, r in ranges.items()}
    found: dict[str, dict[float, float]] = {
        f"{who} {name}": {} for who in ("firmware", "reference") for name in ranges
    }
    starts = np.arange(FIRST, SAMPLES - 4 * EVERY // 5, EVERY)
    for energy_db in SINGLE_DB:
        streams = [with_bursts(kind, starts, energy_db, source) for _ in range(readings)]
        hits: dict[str, list[bool]] = {name: [] for name in found}
        for stream, heard in zip(streams, hear(streams), strict=True):
            for start in starts:
                near = heard.near(start * 1e6 / RATE_HZ)
                values = reference.baseband(stream[start - 500 : start + 1500])
                for name, range_hz in ranges.items():
                    hits[f"firmware {name}"].append(evidence(near, range_hz) > ours[name])
                    statistic = reference.statistic(values, range_hz, ADC_NOISE_CODES)
                    hits[f"reference {name}"].append(statistic > theirs[name])
        for name, list_of_hits in hits.items():
            found[name][energy_db] = float(np.mean(list_of_hits))
    return {name: round(energy_at(shares), 2) for name, shares in found.items()}


def trains(kind: Kind, quiet: Noise, readings: int, source: np.random.Generator) -> float:
    """Energy in dB of each burst at which a train of six is found by the faint train's score."""
    threshold = quiet.score_threshold()
    found = {}
    for energy_db in TRAIN_DB:
        streams = []
        for _ in range(readings):
            starts = int(source.uniform(5000, 40_000)) + TRAIN_INTERVAL * np.arange(6)
            streams.append(with_train(kind, starts, energy_db, source))
        found[energy_db] = float(np.mean([heard.score > threshold for heard in hear(streams)]))
    return round(energy_at(found), 2)


def with_train(kind: Kind, starts: np.ndarray, energy_db: float, source: np.random.Generator) -> np.ndarray:
    """As with_bursts, of one sensor: the same carrier for all."""
    stream = noise(SAMPLES, source)
    carrier_hz = kind.class_hz + source.uniform(-5000, 5000)
    for start in starts:
        wave = kind.shape.wave(1200, source.random(), carrier_hz, source.uniform(0, 2 * math.pi))
        stream[start : start + 1200] += scaled(wave, energy_db)
    return codes(stream)


def missed_at_45(
    kinds: tuple[Kind, ...], quiet: Noise, readings: int, source: np.random.Generator
) -> tuple[int, int]:
    """Bursts of -45 dBFS that are not found singly in the converter's noise, of how many."""
    starts = np.arange(FIRST, SAMPLES - 4 * EVERY // 5, EVERY)
    missed = 0
    for kind in kinds:
        threshold = quiet.evidence_threshold(kind.window_hz())
        streams = []
        for _ in range(readings):
            stream = noise(SAMPLES, source)
            for start in starts:
                wave = kind.shape.wave(1200, source.random(), kind.class_hz, source.uniform(0, 2 * math.pi))
                stream[start : start + 1200] += MIDDLE * 10 ** (-45 / 20) * wave
            streams.append(codes(stream))
        for heard in hear(streams):
            near = [heard.near(start * 1e6 / RATE_HZ) for start in starts]
            missed += sum(evidence(sounds, kind.window_hz()) <= threshold for sounds in near)
    return missed, len(kinds) * readings * len(starts)


def figures_of(name: str, single_db: dict[str, float], train_db: float | None) -> list[dict[str, object]]:
    """A kind's bounded figures."""
    known = round(single_db["firmware class"] - single_db["reference class"], 2)
    auto = round(single_db["firmware auto"] - single_db["reference auto"], 2)
    found: list[dict[str, object]] = [
        figure(f"{name}: single burst above the reference, class known", known, "<= 2 dB", known <= 2),
        figure(f"{name}: single burst above the reference, auto", auto, "<= 3 dB", auto <= 3),
    ]
    if train_db is not None:
        better = round(single_db["firmware class"] - train_db, 2)
        found.append(figure(f"{name}: train of six below single", better, ">= 1 dB", better >= 1))
    return found


def main() -> None:
    options = arguments(__doc__ or "")
    source = np.random.default_rng(options.seed)
    kinds = KINDS[1:2] + KINDS[-1:] if options.short else KINDS
    noise_readings, readings, references = (60, 6, 20) if options.short else (400, 20, 80)
    streams = [codes(noise(SAMPLES, source)) for _ in range(noise_readings)]
    quiet = Noise(hear(streams), streams[:references])
    figures: list[dict[str, object]] = []
    energies: dict[str, object] = {}
    for kind in kinds:
        single_db = single(kind, quiet, readings, references, source)
        train_db = trains(kind, quiet, 5 * readings, source)
        theory, albersheim = theory_db(kind.window_hz())
        figures += figures_of(kind.name, single_db, train_db)
        energies[kind.name] = {
            **single_db,
            "train of six": train_db,
            "Marcum class": round(theory, 2),
            "Albersheim class": round(albersheim, 2),
        }
    missed, of = missed_at_45(kinds, quiet, max(2, readings // 4), source)
    figures.append(figure(f"bursts of -45 dBFS missed, of {of}", missed, "0", missed == 0))
    thresholds = {
        "evidence, band": round(10 * math.log10(quiet.evidence_threshold(BAND_HZ)), 2),
        "evidence, 48 kHz": round(10 * math.log10(quiet.evidence_threshold(KINDS[1].window_hz())), 2),
        "train score": round(quiet.score_threshold()),
        "highest train score of noise": max(h.score for h in quiet.heard),
        "noise readings": noise_readings,
    }
    report(figures, options, energy_db=energies, thresholds_db=thresholds)


if __name__ == "__main__":
    main()
