"""The seal and hiss checks against published values; each source beside its check."""

from array import array
from math import log

import numpy as np
import pytest
from curbtick.sound import leak_flow, tone
from curbtick.sound.leak_flow import PSI_PA, Hole
from curbtick_probe.dsp import fft
from curbtick_probe.dsp.tone import cells as tone_cells
from curbtick_probe.seal import meter
from scipy import signal, stats

from tests.bench.leaks.stats import Count, rise_sigma_db, tone_ratio_db

INCH_M = 0.0254


# Published table of air discharge through an orifice, coefficient 1.0, cubic feet of free air a minute, as found in
# compressed-air handbooks (for instance the Compressed Air and Gas Handbook): pounds over the atmosphere, inches, flow.
@pytest.mark.parametrize(
    ("psig", "inches", "cfm"),
    [(100, 1 / 64, 0.406), (100, 1 / 32, 1.62), (100, 1 / 16, 6.49), (100, 1 / 8, 26.0), (50, 1 / 16, 3.66)],
)
def test_published_orifice_table(psig: float, inches: float, cfm: float) -> None:
    flow = leak_flow.free_air_cfm(leak_flow.mass_flow_kg_s(Hole(inches * INCH_M, 1.0), psig * PSI_PA))
    assert flow == pytest.approx(cfm, rel=0.005)


def test_critical_pressure_ratio() -> None:
    """0.52828 for a ratio of heats of 1.4 (any text on gas dynamics)."""
    assert pytest.approx(0.52828, abs=5e-6) == leak_flow.CRITICAL_RATIO


@pytest.mark.parametrize(("name", "standard_cm3_s"), [("I", 1.5e-2), ("II", 1.5e-1)])
def test_classes_of_astm_e1002(name: str, standard_cm3_s: float) -> None:
    """ASTM E1002, scope: Class I 6.7e-7 mol/s (1.5e-2 standard cubic centimetres a second), Class II ten times that."""
    molar_mol_s = leak_flow.E1002_CLASS_MOL_S[name]
    assert leak_flow.standard_cm3_s(molar_mol_s) == pytest.approx(standard_cm3_s, rel=0.005)


def test_exposure_figures() -> None:
    """Howard, Hansen & Zander 2004 (consensus of national limits): 20 kHz 75 dB, 25 to 50 kHz 110 dB a third octave."""
    assert (tone.EXPOSURE_20_KHZ_DB_SPL, tone.EXPOSURE_25_TO_50_KHZ_DB_SPL) == (75.0, 110.0)


def test_threshold_over_noise_for_a_false_alarm_rate() -> None:
    """8.39 dB for 1e-3 in one cell: 10 lg(-ln Pfa); chi-square of two degrees gives the same (scipy.stats.chi2)."""
    assert 10 * np.log10(-log(1e-3)) == pytest.approx(8.39, abs=0.005)
    assert stats.chi2.isf(1e-3, 2) / 2 == pytest.approx(-log(1e-3))


def test_ratio_that_detection_needs() -> None:
    """Pd 0.9 at Pfa 1e-3, one sample: 10.759 dB exactly (Richards, Fundamentals of Radar Signal Processing)."""
    assert tone_ratio_db() == pytest.approx(10.759, abs=0.002)


@pytest.mark.parametrize(
    ("span_hz", "threshold_q5", "search_hz"),
    [
        (10.0, meter.TRACK_THRESHOLD_Q5, 15_000),
        (100.0, meter.SEARCH_10_THRESHOLD_Q5, 10_000),
        (200.0, meter.SEARCH_20_THRESHOLD_Q5, 20_000),
    ],
)
def test_thresholds_keep_the_false_alarm_rate_by_rices_formula(
    span_hz: float, threshold_q5: int, search_hz: int
) -> None:
    """Crossings of a Rayleigh envelope (S. O. Rice, 1944-45), time and frequency exchanged.

    The noise's mean comes from n cells: a threshold u on its true value is n (exp(u / n) - 1) on theirs, as in
    cell-averaging (CHECKS: alpha = N (Pfa ** (-1 / N) - 1)).
    """
    weights = np.ones(tone_cells.SPAN)
    ramp = np.array(tone_cells.taper(fft.turns())) / 256
    weights[: tone_cells.TAPER], weights[-tone_cells.TAPER :] = ramp, ramp[::-1]
    at_s = (np.arange(tone_cells.SPAN) - 95.5) / 976.5625
    rms_s = np.sqrt((weights**2 * at_s**2).sum() / (weights**2).sum())
    cell_hz = 976.5625 * (weights**2).sum() / weights.sum() ** 2
    cells = 0.85 * 2 * (tone_cells.REACH * 1.907349 - 0.005 * search_hz - 11.4) / cell_hz
    on_theirs = threshold_q5 / 32
    u = cells * np.log1p(on_theirs / cells)
    rate = np.exp(-u) * (1 + 2 * np.sqrt(np.pi * u) * rms_s * span_hz)
    assert rate == pytest.approx(1e-3, rel=0.12)


def test_fft_kernel_against_czt() -> None:
    """The probe's cells are those of scipy.signal.czt, to the 11 bits of its turns."""
    random = np.random.default_rng(1)
    fine = random.integers(-1500, 1500, 2 * tone_cells.SPAN)
    buffer = array("i", [0] * fft.WORDS)
    biased = array("i", (int(value) + fft.BIAS for value in fine))
    taper = tone_cells.taper(fft.turns())
    tone_cells.load(biased, buffer, fft.order(), taper, 0)
    fft.head(buffer)
    fft.fft(buffer, 0, fft.turns())
    weights = np.ones(tone_cells.SPAN)
    weights[: len(taper)], weights[-len(taper) :] = np.array(taper) / 256, np.array(taper)[::-1] / 256
    values = (fine[::2] + 1j * fine[1::2]) * weights
    reference = signal.czt(values, fft.POINTS, np.exp(-2j * np.pi / fft.POINTS))
    parts = np.array(buffer) - fft.BIAS
    error = np.abs(parts[::2] + 1j * parts[1::2] - reference)
    assert error.max() < 1e-3 * np.abs(reference).max()


def test_wilson_intervals() -> None:
    """Newcombe 1998: 81 of 263 .2553-.3662; 0 of 20 0-.1611; 1 of 29 .0061-.1718."""
    for hits, of, low, high in ((81, 263, 0.2553, 0.3662), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)):
        assert Count(hits, of).interval == pytest.approx((low, high), abs=5e-5)


def test_radiometer_against_chi_square() -> None:
    """The spread of a noise power over B T = 1000 is that of chi-square with 2000 degrees (scipy.stats.chi2)."""
    exact_db = 10 * np.log10(stats.chi2(2000).ppf([0.1587, 0.8413]) / 2000)
    assert rise_sigma_db(1000.0, 1.0, 1e9) == pytest.approx(np.ptp(exact_db) / 2, rel=0.01)
