"""The seal check against theory and a float reference: `python -m tests.bench.seal [--json] [--seed N] [--short]`.

The firmware's own code under MicroPython, samples through its kernels. The ratio of a tone is its energy over the
noise density: A**2 N / (4 sigma**2) for an amplitude A in N samples of white noise sigma, the non-centrality of
`scipy.stats.ncx2` being twice that. Theory for a known frequency is one cell; theory for a search has as many
independent cells as the span holds times the update's length.

A false-alarm rate `holds` where the run does not disprove it: the 95 % interval's lower end is at most the bound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import fft

from tests.bench._common import arguments, figure, report
from tests.bench.leaks.link import ADC_NOISE_CODES, FULL_SCALE, RATE_HZ, SETTLE, UPDATE, Probe, Signal
from tests.bench.leaks.stats import PFA, Count, ratio_at_pd, ratio_interval, tone_ratio_db

UPDATE_S = UPDATE / RATE_HZ
TIME = np.arange(UPDATE) / RATE_HZ
ADC_SIGMA = ADC_NOISE_CODES / FULL_SCALE
SIGMA = 0.02
TRACK_SPAN_HZ = 10.0
HEARD, LEVEL, NOISE, SNR, OFFSET = range(5)
STATUS_LOST = 1

Figures = list[dict[str, Any]]


@dataclass(frozen=True)
class Way:
    """How the detector looks: for a tone_hz, over a span of frequencies around offset_hz; name for the figures."""

    name: str
    tone_hz: int
    span_hz: float
    offset_hz: float = 0.0
    track: bool = False

    def begin(self, probe: Probe) -> None:
        """Set the meter up."""
        probe.tell(f"tone {self.tone_hz}")
        probe.tell(f"track {round(self.offset_hz * 1e6)}" if self.track else "search")
        probe.rows("meter", ADC_SIGMA * np.random.default_rng(0).standard_normal(UPDATE))

    @property
    def cells(self) -> float:
        """Independent cells of the span."""
        return self.span_hz * UPDATE_S + 1.0


WAYS = (
    Way("search_10_khz", 10_000, 100.0),
    Way("search_20_khz", 20_000, 200.0),
    Way("track_15_khz", 15_000, TRACK_SPAN_HZ, 20.0, track=True),
)


def tone(hz: float, amplitude: float, phase: float = 0.0, samples: int = UPDATE) -> Signal:
    """A steady tone."""
    made: Signal = amplitude * np.sin(2 * np.pi * hz * np.arange(samples) / RATE_HZ + phase)
    return made


def amplitude_of(ratio_db: float, sigma: float = SIGMA) -> float:
    """The amplitude whose energy in an update has this ratio to white noise."""
    return float(2 * sigma * (10 ** (ratio_db / 10) / UPDATE) ** 0.5)


def reference_statistic(volts: Signal, way: Way) -> float:
    """Float reference on the same data: the highest periodogram value of the span over the noise's power.

    The noise is the mean of as many cells beside the span as the probe has, without those above three times the mean.
    """
    step_hz = 1.0 / (4 * UPDATE_S)
    first = round((way.tone_hz - 350.0) / step_hz)
    last = round((way.tone_hz + 350.0) / step_hz)
    power = np.abs(fft.rfft(volts, 4 * UPDATE)[first : last + 1]) ** 2
    at = step_hz * np.arange(first, last + 1) - way.tone_hz
    beside = power[np.abs(at) > way.tone_hz * 0.005 + 12.0]
    noise = beside.mean()
    for _ in range(6):
        noise = beside[beside <= 3 * noise].mean() / 0.8428
    return float(power[np.abs(at - way.offset_hz) <= way.span_hz / 2].max() / noise)


def false_alarms(probe: Probe, way: Way, count: int, random: np.random.Generator) -> tuple[Count, float]:
    """How often white noise alone is heard, and the reference's threshold for PFA on a share of the same data."""
    way.begin(probe)
    hits, values = 0, []
    for n in range(count):
        volts = SIGMA * random.standard_normal(UPDATE)
        hits += probe.ask("meter 1", volts)[HEARD]
        if n % 4 == 0:
            values.append(reference_statistic(volts, way))
    # The tail of the largest of many exponential cells is exponential: its scale from the upper tenth.
    ordered = np.sort(values)
    upper = ordered[int(0.9 * len(ordered)) :]
    threshold = upper[0] + (upper - upper[0]).mean() * np.log(0.1 / PFA)
    return Count(hits, count), float(threshold)


def detection(
    probe: Probe, way: Way, threshold: float, trials: int, random: np.random.Generator
) -> tuple[float, float, tuple[float, float]]:
    """The ratio at Pd 0.9 of the probe and of the float reference, on the same data, and the former's interval."""
    way.begin(probe)
    ratios = [tone_ratio_db(way.cells) + step for step in (-1.5, -0.5, 0.5, 1.5)]
    ours, theirs = [], []
    for ratio_db in ratios:
        hits = reference_hits = 0
        for volts in played(
            way, amplitude_of(ratio_db), trials, lambda: SIGMA * random.standard_normal(UPDATE), random
        ):
            hits += probe.ask("meter 1", volts)[HEARD]
            reference_hits += reference_statistic(volts, way) > threshold
        ours.append(Count(hits, trials))
        theirs.append(Count(reference_hits, trials))
    return ratio_at_pd(ratios, ours), ratio_at_pd(ratios, theirs), ratio_interval(ratios, ours, random)


RUN = 25
# A loss holds where the run does not disprove it.
LOSS_DB = 1.5


def played(
    way: Way, amplitude: float, updates: int, noise: Callable[[], Signal], random: np.random.Generator
) -> Iterator[Signal]:
    """Updates of a steady tone in noise, one after the other; every RUN of them the tone goes on at another frequency.

    A tracked tone lies within half its span of where it was found; a searched one anywhere in the span.
    """
    hz, phase = 0.0, 0.0
    for n in range(updates):
        if n % RUN == 0:
            within = way.span_hz / 2 * (0.5 if way.track else 0.95)
            hz = way.tone_hz + way.offset_hz + random.uniform(-within, within)
        yield tone(hz, amplitude, phase) + noise()
        phase += 2 * np.pi * hz * UPDATE_S


def sensitivity(probe: Probe, noise_updates: int, trials: int, random: np.random.Generator) -> Figures:
    """False alarms and detection of each way of looking."""
    figures: Figures = []
    for way in WAYS:
        alarms, threshold = false_alarms(probe, way, noise_updates, random)
        low, high = alarms.interval
        proof = "shown" if high <= PFA else "not disproved" if low <= PFA else "disproved"
        bound = f"<= {PFA}, {proof} ({alarms.hits} of {alarms.of}, 95 % {low:.2g} to {high:.2g})"
        figures.append(figure(f"{way.name}_pfa", alarms.rate, bound, low <= PFA))
        ours, reference, (low_db, high_db) = detection(probe, way, threshold, trials, random)
        theory = tone_ratio_db(1.0 if way.track else way.cells)
        interval = f"95 % {low_db - theory:.2f} to {high_db - theory:.2f}"
        figures.append(
            figure(
                f"{way.name}_loss_to_theory_db",
                round(ours - theory, 3),
                f"<= {LOSS_DB} ({interval})",
                low_db - theory <= LOSS_DB,
            )
        )
        figures.append(_at_most(f"{way.name}_loss_to_float_reference_db", ours - reference, 1.5))
        if not way.track:
            figures.append(_shown(f"{way.name}_loss_to_known_frequency_db", ours - tone_ratio_db()))
    return figures


def _at_most(name: str, value: float, bound: float) -> dict[str, Any]:
    return figure(name, round(value, 3), f"<= {bound}", value <= bound)


def _at_least(name: str, value: float, bound: float) -> dict[str, Any]:
    return figure(name, round(value, 3), f">= {bound}", value >= bound)


def _shown(name: str, value: float) -> dict[str, Any]:
    return figure(name, round(value, 3), "shown", True)


def shop(random: np.random.Generator, samples: int = UPDATE) -> Signal:
    """Shop noise of power 1: a fall of 9 dB an octave beyond 8 kHz, knocks, and bursts of two parking sensors."""
    white = random.standard_normal(samples)
    spectrum = np.fft.rfft(white)
    hz = np.fft.rfftfreq(samples, 1 / RATE_HZ)
    made = np.fft.irfft(spectrum * np.minimum(1.0, (8_000 / np.maximum(hz, 1.0)) ** 1.5), samples)
    made /= made.std()
    for khz, every_s in ((40, 0.033), (48, 0.160)):
        for start in np.arange(random.uniform(0, every_s), samples / RATE_HZ - 0.002, every_s):
            at = int(start * RATE_HZ)
            made[at : at + 250] += 4.0 * np.sin(2 * np.pi * khz * 1e3 * np.arange(250) / RATE_HZ)
    for _ in range(2):
        at = int(random.uniform(0, samples - 2_000))
        decay = np.exp(-np.arange(2_000) / 300.0)
        made[at : at + 2_000] += 8.0 * decay * random.standard_normal(2_000)
    scaled: Signal = made / made.std()
    return scaled


def in_shop_noise(probe: Probe, trials: int, random: np.random.Generator) -> Figures:
    """A tone 30 dB below the noise's total power: white, and a shop's."""
    figures: Figures = []
    for name, noise in (
        ("white", lambda: SIGMA * random.standard_normal(UPDATE)),
        ("shop", lambda: SIGMA * shop(random)),
    ):
        for way in (WAYS[1], WAYS[2]):
            way.begin(probe)
            hits = 0
            for volts in played(way, SIGMA * 2**0.5 * 10**-1.5, trials, noise, random):
                hits += probe.ask("meter 1", volts)[HEARD]
            figures.append(_at_least(f"pd_30_db_below_{name}_noise_{way.name}", hits / trials, 0.9))
    return figures


def neighbours(probe: Probe, random: np.random.Generator, short: bool) -> Figures:
    """How far down other tones are, 500 Hz away and further; the worst level reported for a tone of -1 dBFS."""
    worst = {"500_hz": -200.0, "further": -200.0}
    offsets = [-500.0, 500.0] + [float(random.uniform(520, 9_000) * random.choice((-1, 1))) for _ in range(6)]
    offsets += [976.5625 * k for k in (-3, -2, -1, 1, 2, 3)] + [3906.25 - 60, -3906.25 + 60]
    for tone_hz in range(10_000, 20_001, 2_000 if short else 500):
        probe.tell(f"tone {tone_hz}")
        for offset_hz in offsets:
            volts = tone(tone_hz + offset_hz, 10 ** (-1 / 20), samples=2 * UPDATE)
            rows = probe.rows("meter", volts + ADC_SIGMA * random.standard_normal(2 * UPDATE))
            key = "500_hz" if abs(offset_hz) == 500 else "further"
            worst[key] = max(worst[key], float(rows[1, LEVEL]) / 100 + 1)
    return [_at_most(f"tone_{key}_away_db", value, -50.0) for key, value in worst.items()]


def accuracy(probe: Probe, random: np.random.Generator, short: bool) -> Figures:
    """Level and frequency of a tone anywhere within 0.5 % of nominal, -3 to -60 dBFS, with the ADC's noise."""
    levels, frequencies = [], []
    for tone_hz in range(10_000, 20_001, 1_000 if short else 100):
        probe.tell(f"tone {tone_hz}")
        for level_dbfs in (-3.0, -30.0, -60.0):
            offset_hz = random.uniform(-0.005, 0.005) * tone_hz
            volts = tone(tone_hz + offset_hz, 10 ** (level_dbfs / 20), random.uniform(0, 6), 2 * UPDATE)
            row = probe.rows("meter", volts + ADC_SIGMA * random.standard_normal(2 * UPDATE))[1]
            levels.append(abs(row[LEVEL] / 100 - level_dbfs))
            frequencies.append(abs(row[OFFSET] / 1e6 - offset_hz))
    return [
        _at_most("level_error_db", max(levels), 0.3),
        _at_most("frequency_error_hz", max(frequencies), 0.5),
    ]


def losing_the_tone(probe: Probe, random: np.random.Generator) -> Figures:
    """Time from the source's end until the bar says so; the section's verdict then, and after the source came back."""

    def noise(updates: int) -> Signal:
        made: Signal = ADC_SIGMA * random.standard_normal(updates * UPDATE)
        return made

    def playing(updates: int) -> Signal:
        return noise(updates) + tone(15_030, 0.1, samples=updates * UPDATE)

    probe.tell("seal 15000")
    probe.ask("reference", playing(6))
    probe.rows("update", playing(5))
    statuses = [int(row[0]) for row in probe.rows("update", noise(8))]
    late_s = (statuses.index(STATUS_LOST) + 1) * UPDATE_S if STATUS_LOST in statuses else 99.0
    probe.ask("mark")
    silent = probe.ask("reference", noise(6))
    probe.tell("seal 15000")
    probe.ask("reference", playing(6))
    probe.rows("update", noise(5))
    unconfirmed = probe.ask("mark")
    tight = probe.ask("reference", playing(6))
    return [
        _at_most("tone_lost_shown_after_s", late_s, 1.0),
        figure("silent_source_verdict", silent[2], "== 0 (retry)", silent[2] == 0),
        figure("unconfirmed_verdict", unconfirmed[0], "== 0 (retry)", unconfirmed[0] == 0),
        figure("confirmed_silence_verdict", tight[2], "== 1 (tight)", tight[2] == 1),
        _at_least("updates_per_s", RATE_HZ / UPDATE, 5.0),
    ]


def imposters(random: np.random.Generator) -> dict[str, Any]:
    """Sounds that are no leak, at levels up to near full scale: each makes so many samples."""

    def bursts(n: int) -> Signal:
        made = np.zeros(n)
        for start in np.arange(random.uniform(0, 0.03), n / RATE_HZ - 0.002, random.uniform(0.03, 0.2)):
            at = int(start * RATE_HZ)
            length = min(300, n - at)
            carrier = random.choice((40e3, 48e3, 58e3, 15e3))
            made[at : at + length] += 0.5 * np.sin(2 * np.pi * carrier * np.arange(length) / RATE_HZ)
        return made

    def whistle(n: int) -> Signal:
        middle, width, rate = random.uniform(14_950, 15_110), random.uniform(30, 400), random.uniform(2, 9)
        wander = width * np.sin(2 * np.pi * rate * np.arange(n) / RATE_HZ + random.uniform(0, 6))
        made: Signal = 0.3 * np.sin(2 * np.pi * np.cumsum(middle + wander) / RATE_HZ)
        return made

    return {
        "parking_bursts": bursts,
        "hiss": lambda n: 0.1 * random.standard_normal(n),
        "whistle": whistle,
        "another_tone": lambda n: tone(
            15_030 + random.choice((-1, 1)) * random.uniform(40, 5_000), 0.3, samples=n
        ),
    }


def no_leaks(probe: Probe, sections: int, random: np.random.Generator) -> Figures:
    """Sections of 2 s with an imposter and no tone, the reference being confirmed: none may be a leak."""
    figures: Figures = []
    for name, make in imposters(random).items():
        leaks = 0
        for _ in range(sections):
            probe.tell("seal 15000")
            free = tone(15_030, 0.3, samples=6 * UPDATE) + ADC_SIGMA * random.standard_normal(6 * UPDATE)
            probe.ask("reference", free)
            probe.rows("update", make(10 * UPDATE) + ADC_SIGMA * random.standard_normal(10 * UPDATE))
            probe.ask("mark")
            leaks += probe.ask("reference", free)[2] == 2
        figures.append(figure(f"{name}_called_leak", leaks, f"== 0 of {sections}", leaks == 0))
    return figures


def main() -> None:
    """Run everything and report."""
    options = arguments(__doc__ or "")
    random = np.random.default_rng(options.seed)
    noise_updates, trials, sections = (1_500, 120, 6) if options.short else (10_000, 700, 40)
    with Probe() as probe:
        figures = sensitivity(probe, noise_updates, trials, random)
        figures += in_shop_noise(probe, trials, random)
        figures += neighbours(probe, random, options.short)
        figures += accuracy(probe, random, options.short)
        figures += losing_the_tone(probe, random)
        figures += no_leaks(probe, sections, random)
    report(figures, options, settle_samples=SETTLE)


if __name__ == "__main__":
    main()
