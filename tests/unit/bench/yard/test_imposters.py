"""Sounds that are nobody's burst: as loud and as often as they say, measured with scipy."""

import numpy as np
import numpy.typing as npt
import pytest
from curbtick.errors import InputError
from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.inputs import Adc
from curbtick.yard.front_end.timebase import TICKS_PER_MS
from curbtick.yard.sounds import imposters
from curbtick.yard.sounds.din import named_din, random_din
from curbtick.yard.sounds.noise import Broadband, Gusts, Spur
from curbtick_wire.names import INPUT_LOW
from scipy.signal import butter, hilbert, sosfiltfilt

BAND = butter(6, (28_000.0, 82_000.0), "bandpass", fs=250_000, output="sos")
SILENT_ADC = Adc(enob_bits=0.0, wide_codes=False)


def envelope_dbfs(ear: Ear, length_ms: float) -> npt.NDArray[np.float64]:
    """Analytic envelope over 30-80 kHz of the low input."""
    samples = ear.read(int(length_ms * 250), INPUT_LOW, 0.0).astype(float) - 2048.0
    out: npt.NDArray[np.float64] = np.abs(hilbert(sosfiltfilt(BAND, samples)))
    return 20.0 * np.log10(np.maximum(out, 1e-3) / 2047.5)


@pytest.mark.parametrize("name", imposters.KINDS)
def test_the_loudest_event_is_at_its_level_and_none_above(name: str) -> None:
    source = imposters.KINDS[name](np.random.default_rng(3), -20.0)
    loudest_dbfs = 20.0 * np.log10(source.gain * max(source.gains))
    assert loudest_dbfs == pytest.approx(-20.0, abs=1.5)
    heard_dbfs = envelope_dbfs(Ear((source,), adc=SILENT_ADC), 2_097.152).max()
    # Two that overlap may add up to 6 dB.
    assert -32.0 < heard_dbfs < -13.5


def test_a_bat_calls_every_122_to_174_ms_near_45_khz() -> None:
    source = imposters.bat(np.random.default_rng(5), -10.0)
    gaps_ms = np.diff(source.ticks) / TICKS_PER_MS
    assert gaps_ms.min() >= 122.0 and gaps_ms.max() <= 174.0
    assert gaps_ms.std() > 5.0
    call = source.waves[0].behind().astype(float)
    spectrum = np.abs(np.fft.rfft(call)) ** 2
    loudest_hz = np.argmax(spectrum) * 4e6 / len(call)
    assert 42_000.0 < loudest_hz < 50_000.0


def test_an_imposters_times_repeat_without_a_gap() -> None:
    source = imposters.bat(np.random.default_rng(5), -10.0)
    ticks = source.sent(0, 3 * source.period_ticks)
    assert len(ticks) == 3 * len(source.ticks)
    assert np.diff(ticks).min() > 0


def test_gusts_are_loud_when_they_blow() -> None:
    gusts = Gusts((0, 400_000, 404_000, 796_000), (-60.0, -60.0, 0.0, -60.0), 800_000)
    layer = Broadband("hiss", -30.0, 0, gusts)
    quiet, loud = (envelope_dbfs(Ear(layers=(layer,), adc=SILENT_ADC), 200.0)[part] for part in GUST_PARTS)
    assert np.median(loud) - np.median(quiet) > 40.0
    assert layer.band_power(404_000, 440_000) > 1_000 * layer.band_power(40_000, 360_000)


GUST_PARTS = (slice(2_500, 20_000), slice(25_500, 28_000))


def test_a_gated_spur_is_silent_between_its_packets() -> None:
    envelope = envelope_dbfs(Ear(layers=(Spur(50_000, -30.0, (10.0, 2.0)),), adc=SILENT_ADC), 100.0)
    assert envelope[125:375].mean() == pytest.approx(-30.0, abs=1.0)
    assert envelope[1_000:2_000].max() < -55.0


def test_every_named_din_of_the_depot_is_known() -> None:
    random = np.random.default_rng(1)
    for name in ("tyres", "engine", "brakes", "spurs", "keys", "footsteps"):
        layers, sources = named_din(name, random)
        assert layers or sources


def test_an_unknown_din_is_a_clear_error() -> None:
    with pytest.raises(InputError, match="no din called choir"):
        named_din("choir", np.random.default_rng(1))


def test_half_of_the_yard_is_quiet() -> None:
    random = np.random.default_rng(1)
    dins = [random_din(random) for _ in range(400)]
    quiet = sum(not layers for layers, _ in dins) / len(dins)
    assert 0.42 < quiet < 0.58
    bats = sum(any(source.name == "bat" for source in sources) for _, sources in dins) / len(dins)
    assert 0.03 < bats < 0.10
