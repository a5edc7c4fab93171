"""The transducer and its drives, against a numerical integration of the same masses and against data sheets."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.bench.otheryard.physics.level import RATE_HZ, centre_hz, fall_time, time_within_db
from tests.bench.otheryard.sensor.drive import Drive, Piece, chirp, coded, drive, tone
from tests.bench.otheryard.sensor.transducer import coupled, single


def integrated(
    driven: Drive, times_s: np.ndarray, numbers: tuple[float, float, float, float, float]
) -> np.ndarray:
    """Velocity of the membrane by stepwise integration: the bridge's state is held between two switchings."""
    driver_hz, driver_q, membrane_hz, membrane_q, coupling = numbers
    one, two = 2 * np.pi * driver_hz, 2 * np.pi * membrane_hz

    def moved(force: float) -> object:
        def rates(at_s: float, y: np.ndarray) -> list[float]:
            pull = coupling * one**2
            return [
                y[1],
                force - one**2 * y[0] - one / driver_q * y[1] + pull * y[2],
                y[3],
                -(two**2) * y[2] - two / membrane_q * y[3] + pull * y[0],
            ]

        return rates

    state, values = np.zeros(4), np.zeros(len(times_s))
    ends = np.append(driven.times_s[1:], times_s[-1] + 1e-9)
    for begin_s, end_s, force in zip(driven.times_s, ends, np.cumsum(driven.steps), strict=True):
        inside = (times_s >= begin_s) & (times_s < end_s)
        asked = np.append(times_s[inside], end_s)
        done = solve_ivp(moved(force), (begin_s, end_s), state, t_eval=asked, rtol=1e-9, atol=1e-16)
        values[inside], state = done.y[3][:-1], done.y[:, -1]
    return values


@pytest.mark.parametrize("driven", [tone(47.5e3, 6), coded(48e3, 3, (1, -1)), chirp(46e3, 50e3, 150e-6)])
def test_closed_form_agrees_with_integration(driven: Drive) -> None:
    numbers = (49e3, 7.0, 48e3, 20.0, 0.05)
    own = coupled(*numbers).wave(driven, 1.3e-6)[:150]
    times_s = 1.3e-6 + np.arange(150) / RATE_HZ
    other = integrated(driven, times_s, numbers)
    assert np.abs(own - other).max() < 1e-5 * np.abs(other).max()


def test_the_grid_does_not_matter() -> None:
    """A burst that begins between two samples is the same burst: its samples are those of a finer grid."""
    transducer, driven = coupled(49e3, 7, 48e3, 20, 0.05), tone(48e3, 10)
    early, late = transducer.wave(driven, 0.0), transducer.wave(driven, 2e-6)
    size = len(early)
    spectrum = np.fft.rfft(np.append(early, np.zeros(size)))
    shift = np.exp(2j * np.pi * np.fft.rfftfreq(2 * size, 1 / RATE_HZ) * 2e-6)
    assert np.abs(np.fft.irfft(spectrum * shift)[5:200] - late[5:200]).max() < 0.01 * np.abs(late).max()


def test_closed_face_part_keeps_its_data_sheet() -> None:
    """40 kHz, -6 dB bandwidth 2.0 kHz (Pro-Wave 40PT12 and a second sheet): that quality rings less than 1.2 ms."""
    quality = np.sqrt(3) * 40.0 / 2.0
    part = single(40e3, quality)
    spectrum = np.abs(np.fft.rfft(part.wave(Drive(np.zeros(1), np.ones(1)), 0.0), 1 << 18))
    hz = np.fft.rfftfreq(1 << 18, 1 / RATE_HZ)
    wide_hz = np.ptp(hz[spectrum >= spectrum.max() / 2])
    assert wide_hz == pytest.approx(2000, abs=100)
    assert 0.4e-3 < fall_time(part.wave(tone(40e3, 16), 0.0), 20) < 1.2e-3


def test_a_single_resonance_falls_as_its_quality_says() -> None:
    """20 dB take Q ln(10) / (pi f)."""
    wave = single(48e3, 250).wave(tone(48e3, 24), 0.0)
    assert fall_time(wave, 20) == pytest.approx(250 * np.log(10) / (np.pi * 48e3), rel=0.03)


def test_sixteen_cycles_last_273_us() -> None:
    """58.6 kHz, 16 cycles: 273 us (TI PGA460 data sheet SLASEC8, second-hand)."""
    assert tone(58.6e3, 16).seconds == pytest.approx(273e-6, abs=0.5e-6)
    assert tone(58.6e3, 4).seconds == pytest.approx(68e-6, abs=0.5e-6)


def test_a_chirp_ends_where_it_should() -> None:
    swept = chirp(46e3, 50e3, 1e-3)
    halves_s = np.diff(swept.times_s)
    assert 0.5 / halves_s[0] == pytest.approx(46e3, rel=0.01)
    assert 0.5 / halves_s[-1] == pytest.approx(50e3, rel=0.01)
    assert swept.seconds == pytest.approx(1e-3, rel=1e-6)


def test_a_phase_code_turns_over() -> None:
    """Where the chips change, the bridge does not switch: two half cycles of one sign follow each other."""
    halves_s = np.diff(coded(50e3, 4, (1, -1, -1, 1)).times_s)
    assert np.sum(halves_s > 15e-6) == 2
    assert halves_s.min() == pytest.approx(10e-6)


def test_length_and_frequency_of_a_plain_burst() -> None:
    wave = coupled(58e3, 8, 58e3, 20, 0.04).wave(tone(58e3, 60), 0.0)
    assert time_within_db(wave, 6) == pytest.approx(60 / 58e3, abs=0.12e-3)
    assert centre_hz(wave) == pytest.approx(58e3, abs=150)


def test_pieces_join_without_a_gap() -> None:
    piece = Piece(2, 50e3, 50e3)
    assert np.diff(drive(piece, piece).times_s) == pytest.approx(10e-6)
