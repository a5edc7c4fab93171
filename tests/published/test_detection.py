"""Detection theory: published values, and the firmware's own statistics in white Gaussian noise beside them.

The noise is drawn here, not in the yard. Evidence is energy over noise density, in hundredths of a dB.
"""

from __future__ import annotations

import math
from array import array
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from curbtick.hardware import converter
from curbtick.yard.front_end import inputs
from scipy import signal, stats

from tests.target.unix import port as unix
from tests.unit.probe.bumper.readingdata import Codes, Prober, Reading

RATE_HZ = 250_000
SAMPLES = 340_000
BAND_SHARE = 50_000 / 125_000
SINGLE_CDB = 1390
BASEBAND = "curbtick_probe/dsp/burst/baseband.py"
SPECTRUM = "curbtick_probe/dsp/burst/spectrum.py"
FLOOR = "curbtick_probe/dsp/burst/floor.py"


@pytest.fixture(scope="module")
def prober() -> Iterator[Prober]:
    with Prober() as made:
        yield made


def marcum_q(a: float, b: float) -> float:
    """Q1(a, b) as scipy's noncentral chi-square with two degrees of freedom has it."""
    return float(stats.ncx2.sf(b * b, 2, a * a))


def albersheim_db(pd: float, pfa: float, pulses: int) -> float:
    """Albersheim's equation for the signal-to-noise ratio of each of `pulses` pulses."""
    a, b = math.log(0.62 / pfa), math.log(pd / (1 - pd))
    combined = math.log10(a + 0.12 * a * b + 1.7 * b)
    return -5 * math.log10(pulses) + (6.2 + 4.54 / math.sqrt(pulses + 0.44)) * combined


def exact_db(pd: float, pfa: float) -> float:
    """The same for one pulse, from Marcum's Q by bisection."""
    b = math.sqrt(-2 * math.log(pfa))
    low, high = 0.0, 30.0
    for _ in range(60):
        middle = (low + high) / 2
        below = marcum_q(math.sqrt(2 * 10 ** (middle / 10)), b) < pd
        low, high = (middle, high) if below else (low, middle)
    return low


@pytest.mark.parametrize(
    ("a", "b", "value"),
    [(1, 1, 0.7328798038), (2, 1, 0.9181076964), (2, 2, 0.6035009606), (3, 3, 0.5674797623)],
)
def test_marcum_q(a: float, b: float, value: float) -> None:
    """Values computed with scipy; Q1(a, a) = (1 + exp(-a**2) I0(a**2)) / 2 is the textbook identity."""
    assert marcum_q(a, b) == pytest.approx(value, abs=1e-9)
    assert marcum_q(a, a) == pytest.approx((1 + np.i0(a * a) * math.exp(-a * a)) / 2, abs=1e-9)


@pytest.mark.parametrize(
    ("pd", "pfa", "pulses", "printed_db", "true_db", "within_db"),
    [
        (0.9, 1e-6, 1, 13.11, 13.183, 0.1),
        (0.9, 1e-4, 1, 11.67, 11.749, 0.1),
        (0.9, 1e-3, 1, 10.72, 10.759, 0.1),
        (0.9, 1e-6, 10, 4.99, 5.267, 0.35),
    ],
)
def test_albersheim(
    pd: float, pfa: float, pulses: int, printed_db: float, true_db: float, within_db: float
) -> None:
    """Richards, Fundamentals of Radar Signal Processing, equation and accuracy (constants from memory)."""
    assert albersheim_db(pd, pfa, pulses) == pytest.approx(printed_db, abs=0.005)
    assert albersheim_db(pd, pfa, pulses) == pytest.approx(true_db, abs=within_db)
    if pulses == 1:
        assert exact_db(pd, pfa) == pytest.approx(true_db, abs=0.001)


def white(sigma: float, seed: int) -> np.ndarray:
    """Gaussian noise of sigma codes around mid-scale, not yet cut to codes."""
    return np.random.default_rng(seed).normal(2048.0, sigma, SAMPLES)


def codes_of(wave: np.ndarray) -> np.ndarray:
    return np.asarray(np.clip(np.rint(wave), 0, 4095), dtype=np.uint16)


BLOCK = 1024


def baseband_of(codes: np.ndarray) -> array[int]:
    """The firmware's baseband of whole blocks of codes, complex values in halfwords."""
    z = array("H")
    joint, extremes = array("H", [2048] * 40), array("i", [4095, 0])
    for start in range(0, len(codes) - BLOCK + 1, BLOCK):
        part = array("H", bytes(BLOCK))
        block = array("H", codes[start : start + BLOCK].tolist())
        unix.run(BASEBAND, "fold", (block, 0, part, joint, extremes, 256, 0))
        z += part
    return z


def frames_of(z: array[int]) -> np.ndarray:
    """Power of the firmware's 13 bins, frames x bins; frames of 16 values overlap by half."""
    parts = []
    for start in range(0, len(z) // 2 - 16 + 1, 256):
        values = z[2 * start : 2 * (start + 264)]
        frames = len(values) // 16 - 1
        y, power = array("H", bytes(64 * frames)), array("i", bytes(64 * frames))
        unix.run(SPECTRUM, "stage_one", (values, y, 0, frames))
        unix.run(SPECTRUM, "stage_two", (y, 0, power, frames))
        parts.append(np.array(power).reshape(frames, 16)[:, :13].astype(float))
    return np.concatenate(parts)


@cache
def kernels_power(sigma: float, seed: int) -> np.ndarray:
    """Of white noise."""
    return frames_of(baseband_of(codes_of(white(sigma, seed))))


@pytest.mark.parametrize(("pfa", "over_mean_db"), [(1e-2, 6.63), (1e-3, 8.39)])
def test_thresholds_over_mean_noise_power(pfa: float, over_mean_db: float) -> None:
    """10 log10(-ln Pfa), of a square-law detector; the firmware's bins cross it as often as stated.

    Within four sigma of the binomial law over frames that do not overlap.
    """
    assert 10 * math.log10(-math.log(pfa)) == pytest.approx(over_mean_db, abs=0.005)
    power = kernels_power(60.0, 1)[::2]
    over = power > 10 ** (over_mean_db / 10) * power.mean(axis=0)
    sigma = math.sqrt(pfa * (1 - pfa) / over.size)
    assert over.mean() == pytest.approx(pfa, abs=4 * sigma)


@pytest.mark.parametrize(("pfa", "over_mean_db"), [(1e-4, 9.64), (1e-6, 11.40)])
def test_higher_thresholds(pfa: float, over_mean_db: float) -> None:
    """The same formula, too rare to count."""
    assert 10 * math.log10(-math.log(pfa)) == pytest.approx(over_mean_db, abs=0.005)


def cfar_alpha(cells: int, pfa: float) -> float:
    """Threshold factor of cell-averaging CFAR."""
    return float(cells * (pfa ** (-1 / cells) - 1))


def test_cell_averaging_cfar() -> None:
    """alpha = N (Pfa**(-1/N) - 1), textbook; on the firmware's bins, averaging 16 frames of the same bin, it holds."""
    assert cfar_alpha(16, 1e-3) == pytest.approx(8.639, abs=0.0005)
    assert cfar_alpha(16, 1e-6) == pytest.approx(21.942, abs=0.0005)
    power = kernels_power(60.0, 1)[::3]
    average = np.lib.stride_tricks.sliding_window_view(power, 16, axis=0).mean(axis=-1)[:-1]
    over = power[16:] > cfar_alpha(16, 1e-2) * average
    assert over.mean() == pytest.approx(1e-2, rel=0.12)


def test_the_floor_is_the_lower_quartile_of_an_exponential_law() -> None:
    """-ln(3/4) of the mean, 0.2877 (exact).

    A quartile of n values errs by sqrt(p / (1 - p) / n) / 0.2877, 0.17 dB for the 2,650 frames apart that are averaged:
    three of these sigmas for each bin, and for the mean of 13.
    """
    power = kernels_power(60.0, 1)
    frames = len(power) - len(power) % 32
    words = np.zeros((frames, 16), np.int32)
    words[:, :13] = power[:frames]
    floor, kept = array("i", [1 << 25] * 13), []
    for start in range(0, frames, 32):
        shift = 5 if start < 64 * 32 else 9
        unix.run(
            FLOOR, "follow", (array("i", words[start : start + 32].ravel().tolist()), 0, floor, 32, shift)
        )
        kept.append(np.array(floor) / 256)
    quartile = np.mean(kept[len(kept) // 2 :], axis=0) / power.mean(axis=0)
    error_db = 10 * np.log10(quartile / -math.log(0.75))
    assert error_db == pytest.approx(np.zeros(13), abs=0.5)
    assert error_db.mean() == pytest.approx(0.0, abs=0.15)


HARRIS = {"boxcar": (1.00, 3.92), "hann": (1.50, 1.42), "hamming": (1.36, 1.78), "blackman": (1.73, 1.10)}


def enbw_bins(window: np.ndarray) -> float:
    return float(len(window) * (window**2).sum() / window.sum() ** 2)


def scallop_db(window: np.ndarray) -> float:
    turn = np.exp(-1j * np.pi * np.arange(len(window)) / len(window))
    return float(-20 * np.log10(abs((window * turn).sum()) / window.sum()))


@pytest.mark.parametrize("name", HARRIS)
def test_window_figures(name: str) -> None:
    """Harris, Proc. IEEE 66 (1978), table 1, printed to two places; Hamming's scallop loss there is 0.03 dB high."""
    window = signal.windows.get_window(name, 1024)
    assert enbw_bins(window) == pytest.approx(HARRIS[name][0], abs=0.006)
    assert scallop_db(window) == pytest.approx(HARRIS[name][1], abs=0.035)


def kernels_window() -> np.ndarray:
    """How the firmware's spectrum weighs the 16 values of a frame, from its answer to each of them alone."""
    weights = []
    for place in range(16):
        z = array("H", [32768] * 32)
        z[2 * place] = 32768 + 16_000
        weights.append(math.sqrt(frames_of(z)[0, 8]))
    return np.array(weights)


def test_the_firmwares_window_is_harris_hann() -> None:
    window = kernels_window()
    assert window / window.max() == pytest.approx(signal.windows.hann(16, sym=False), abs=1 / 64)
    assert enbw_bins(window) == pytest.approx(HARRIS["hann"][0], abs=0.01)
    assert scallop_db(window) == pytest.approx(HARRIS["hann"][1], abs=0.02)


def tones_power(frequency_hz: float, amplitude: float = 2000.0) -> np.ndarray:
    """Mean power of the firmware's 13 bins for a tone."""
    wave = 2048 + amplitude * np.sin(2 * np.pi * frequency_hz / RATE_HZ * np.arange(4096))
    return np.asarray(frames_of(baseband_of(codes_of(wave)))[8:].mean(axis=0))


def test_the_spectrum_kernel_has_hanns_scallop_loss_and_noise_bandwidth() -> None:
    """On bin 8 (62.5 kHz) and half a bin above; noise bandwidth from white noise against the tone's gain."""
    on_bin, between = tones_power(62_500.0)[8], tones_power(62_500.0 + 3906.25 / 2)[8]
    assert 10 * math.log10(on_bin / between) == pytest.approx(HARRIS["hann"][1], abs=0.1)
    noise = kernels_power(60.0, 1)[:, 8].mean()
    per_bin = 60.0**2 * 3906.25 / (RATE_HZ / 2)
    bandwidth_bins = noise / per_bin / (on_bin / (2000.0**2 / 2))
    assert bandwidth_bins == pytest.approx(HARRIS["hann"][0], rel=0.06)


def test_the_spectrum_kernel_against_scipys_chirp_z_transform() -> None:
    """scipy.signal.czt on the same baseband values under an exact Hann window: within 1 % of the strongest bin."""
    random = np.random.default_rng(3)
    values = random.integers(-9000, 9000, 16) + 1j * random.integers(-9000, 9000, 16)
    z = array("H", np.stack([values.real, values.imag], 1).astype(int).ravel() + 32768)
    ours = np.sqrt(frames_of(z)[0])
    windowed = values * signal.windows.hann(16, sym=False)
    theirs = np.abs(signal.czt(windowed, 16, np.exp(-2j * np.pi / 16), np.exp(-2j * np.pi * 8 / 16)))[:13]
    scale = (ours * theirs).sum() / (theirs**2).sum()
    assert ours == pytest.approx(scale * theirs, abs=0.01 * ours.max())


@pytest.mark.parametrize(("bins_off", "amplitude"), [(0.0, 0.7), (0.5, 0.4431046)])
def test_a_single_line_by_chirp_z(bins_off: float, amplitude: float) -> None:
    """0.7 sin at 40 kHz, N = 500 at 500 kS/s: what one Goertzel bin shows (scipy.signal.czt), and the kernel's scale.

    The firmware's bin on a tone of full scale has the stated magnitude of 14844.
    """
    tone = 0.7 * np.sin(2 * np.pi * 40_000 / 500_000 * np.arange(500))
    line = signal.czt(tone, 1, 1, np.exp(2j * np.pi * (40 + bins_off) / 500))
    assert 2 / 500 * abs(line[0]) == pytest.approx(amplitude, abs=5e-8 if not bins_off else 2e-3)
    assert math.sqrt(tones_power(62_500.0, 2047.5)[8]) == pytest.approx(14_844, rel=0.01)


@pytest.mark.parametrize(("bits", "ratio_db"), [(12, 74.0), (8.7, 54.1)])
def test_quantisation(bits: float, ratio_db: float) -> None:
    """6.02 N + 1.76 dB (Bennett; RP2040's data sheet states 8.7 effective bits)."""
    assert converter.sine_to_noise_db(bits) == pytest.approx(ratio_db, abs=0.05)


@pytest.mark.parametrize("sigma", [3.0, 10.0, 30.0, 100.0, 300.0])
def test_the_measured_noise_is_the_noise_there_is(prober: Prober, sigma: float) -> None:
    """rms over 30-80 kHz of white noise and of the converter's steps (1/12 of a code squared), within 0.5 dB."""
    reading = prober.take(Codes(codes_of(white(sigma, 5))), noise_max_cdb=0)
    rms_codes = math.sqrt((sigma**2 + 1 / 12) * BAND_SHARE)
    assert reading.values["noise_cdb"] / 100 == pytest.approx(inputs.rms_dbfs_of_codes(rms_codes), abs=0.5)


@cache
def highest_in_noise(prober: Prober) -> tuple[list[float], list[int]]:
    """Highest single evidence (a ratio) and train score of readings of nothing but noise."""
    readings = [prober.take(Codes(codes_of(white(10.0, 100 + i))), noise_max_cdb=0) for i in range(40)]
    return [10 ** (r.values["single_cdb"] / 1000) for r in readings], [
        r.values["train_cdb"] for r in readings
    ]


def test_the_highest_evidence_of_noise_follows_the_law_of_extremes(prober: Prober) -> None:
    """The highest of M exponential values: ln M + 0.367 in the median, 3.08 from 10 % to 90 % (Gumbel).

    M lies between the product of time and band, 1.29 s x 50 kHz, and that with five lengths and sixteenfold overlap.
    """
    evidence, _ = highest_in_noise(prober)
    least = 1.29 * 50_000
    assert math.log(least) < np.median(evidence) - 0.367 < math.log(least * 5 * 16) + 1
    low, high = np.percentile(evidence, [10, 90])
    assert 3.08 / 2 < high - low < 3.08 * 2


def test_noise_alone_neither_is_heard_singly_nor_adds_up_to_a_train(prober: Prober) -> None:
    """What counts as heard, and what proves a sibling, lies beyond the highest of every reading."""
    evidence, scores = highest_in_noise(prober)
    assert 10 * math.log10(max(evidence)) < SINGLE_CDB / 100
    assert max(scores) < 1200


def with_tones(
    energy_db: float, samples: int, sigma: float, seed: int, apart: int = 5_003
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """White noise with a gated tone every `apart` samples: (codes, start samples, frequencies).

    energy_db: energy over noise density; A**2 / 2 for `samples` samples over 2 sigma**2 a sample (one-sided).
    """
    random = np.random.default_rng(seed)
    wave = white(sigma, seed)
    starts = np.arange(8_000, SAMPLES - 20_000, apart)
    starts = starts + random.integers(0, 50, len(starts))
    frequencies_hz = random.uniform(38e3, 72e3, len(starts))
    amplitude = math.sqrt(4 * 10 ** (energy_db / 10) * sigma**2 / samples)
    time = np.arange(samples)
    for start, frequency_hz in zip(starts, frequencies_hz, strict=True):
        turn = 2 * np.pi * frequency_hz / RATE_HZ
        wave[start : start + samples] += amplitude * np.sin(turn * time + random.uniform(0, 2 * np.pi))
    return codes_of(wave), starts, frequencies_hz


def heard_at(reading: Reading, starts: np.ndarray) -> list[tuple[int, dict[str, int]]]:
    """(which burst, its sound) of those in the reading; a burst without any sound is given an evidence of -1."""
    times_us = np.array(reading.heard["time_us"])
    out = []
    for i, start in enumerate(starts):
        if 4 * start < 1000 * reading.values["listened_ms"] - 8_000:
            near = np.flatnonzero(np.abs(times_us - 4 * start) < 700)
            rows = [{name: column[row] for name, column in reading.heard.items()} for row in near]
            best = max(rows, key=lambda row: row["evidence_cdb"], default={"evidence_cdb": -1})
            out.append((i, best))
    return out


@pytest.mark.parametrize("energy_db", [14.0, 15.0, 16.0, 18.0])
def test_single_bursts_are_heard_as_marcums_q_says(prober: Prober, energy_db: float) -> None:
    """Bursts of 0.6 ms anywhere in the band, against one known in time and frequency at the same threshold.

    Not knowing costs at most 1.5 dB; a search can gain no more than 0.5 dB near the threshold. Four sigma of the count.
    45 ms apart, so that a long reading holds no more of them than it keeps.
    """
    found = []
    for seed in range(7):
        codes, starts, _ = with_tones(energy_db, 150, 10.0, seed, 11_251)
        reading = prober.take(Codes(codes), noise_max_cdb=0)
        found += [sound["evidence_cdb"] >= SINGLE_CDB for _, sound in heard_at(reading, starts)]
    threshold = math.sqrt(2 * 10 ** (SINGLE_CDB / 1000))
    worst, best = (marcum_q(math.sqrt(2 * 10 ** ((energy_db + d) / 10)), threshold) for d in (-1.5, 0.5))
    share = float(np.mean(found))
    assert len(found) > 150
    assert worst - 4 * math.sqrt(worst * (1 - worst) / len(found)) <= share
    assert share <= best + 4 * math.sqrt(best * (1 - best) / len(found))


def crb_hz(snr_db: float, samples: int, rate_hz: float) -> float:
    """Least rms of a frequency estimate of a real tone of unknown phase and amplitude; SNR = A**2 / (2 sigma**2)."""
    eta = 10 ** (snr_db / 10)
    return math.sqrt(12 * rate_hz**2 / ((2 * math.pi) ** 2 * eta * samples * (samples**2 - 1)))


def crb_level_db(snr_db: float, samples: int) -> float:
    """Least rms of a level estimate: 1 / (N SNR) of the amplitude squared."""
    return 20 / math.log(10) / math.sqrt(samples * 10 ** (snr_db / 10))


@pytest.mark.parametrize(("snr_db", "frequency_hz", "level_db"), [(20.0, 2.466, 0.0388), (10.0, 7.80, 0.122)])
def test_cramer_rao_worked_values(snr_db: float, frequency_hz: float, level_db: float) -> None:
    """Rife & Boorstyn, IEEE Trans. IT-20 (1974), formula from memory: 500 samples at 500 kS/s."""
    assert crb_hz(snr_db, 500, 500e3) == pytest.approx(frequency_hz, abs=0.005)
    assert crb_level_db(snr_db, 500) == pytest.approx(level_db, abs=0.001)


@pytest.mark.parametrize("snr_db", [20.0, 25.0, 30.0])
def test_the_firmwares_frequency_against_the_bound(prober: Prober, snr_db: float) -> None:
    """Gated tones of 1 ms anywhere from 38 to 72 kHz: rms at most 1.5 times the bound for all of the burst."""
    sigma, samples = 10.0, 250
    errors_hz = []
    for seed in range(3):
        energy_db = snr_db + 10 * math.log10(samples / 2)
        codes, starts, frequencies_hz = with_tones(energy_db, samples, sigma, 50 + seed)
        reading = prober.take(Codes(codes), noise_max_cdb=0)
        errors_hz += [sound["frequency_hz"] - frequencies_hz[i] for i, sound in heard_at(reading, starts)]
    assert len(errors_hz) > 150
    rms_hz = float(np.sqrt(np.mean(np.square(errors_hz))))
    # The firmware's whole Hz adds 1/12.
    assert rms_hz <= 1.5 * math.hypot(crb_hz(snr_db, samples, RATE_HZ), 12**-0.5)
