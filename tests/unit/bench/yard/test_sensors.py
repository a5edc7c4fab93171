"""A sensor's burst against an independent model: the resonator's own differential equation, integrated in time."""

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from curbtick.yard.ear import faults
from curbtick.yard.front_end.timebase import WAVE_RATE_HZ
from curbtick.yard.sounds import sensors
from curbtick.yard.sounds.sensors import Sensor
from scipy.signal import hilbert, lsim

SENSORS = [
    Sensor(40, 40_000.0, cycles=8, decay_us=280.0),
    Sensor(48, 48_300.0, cycles=16, decay_us=180.0),
    Sensor(58, 58_600.0, cycles=4, decay_us=120.0),
    Sensor(68, 67_500.0, cycles=20, decay_us=60.0),
    Sensor(58, 58_000.0, cycles=20, decay_us=60.0, sweep_hz=5_000.0),
    Sensor(48, 48_000.0, cycles=20, decay_us=60.0, sweep_hz=-4_000.0),
]


def drive_of(sensor: Sensor, offset_hz: float, count: int) -> npt.NDArray[np.float64]:
    """The force on the membrane: a gated cosine, its frequency moving linearly where the sensor sweeps."""
    time_s = np.arange(count) / WAVE_RATE_HZ
    length_s = sensor.cycles / (sensor.resonance_hz + offset_hz)
    start_hz = sensor.resonance_hz + offset_hz - sensor.sweep_hz / 2
    phase = 2 * np.pi * (start_hz * time_s + sensor.sweep_hz / length_s * time_s**2 / 2)
    return np.where(time_s < length_s, np.cos(phase), 0.0)


def integrated(sensor: Sensor, offset_hz: float) -> npt.NDArray[np.float64]:
    """x'' + (2/tau) x' + (w0^2 + 1/tau^2) x = force, by exact integration between ticks; velocity is what radiates."""
    count = len(sensors.burst(sensor, offset_hz))
    rate = 1e6 / sensor.decay_us
    stiffness = (2 * math.pi * sensor.resonance_hz) ** 2 + rate**2
    system = ([[0.0, 1.0], [-stiffness, -2 * rate]], [[0.0], [1.0]], [[0.0, 1.0]], [[0.0]])
    time_s = np.arange(count) / WAVE_RATE_HZ
    velocity: npt.NDArray[np.float64] = np.ravel(lsim(system, drive_of(sensor, offset_hz, count), time_s)[1])
    return velocity


def envelope(wave: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
    """Analytic envelope, peak 1, of a wave padded against its own ends."""
    padded = np.concatenate([np.zeros(2000), wave, np.zeros(2000)])
    whole = np.abs(hilbert(padded))
    out: npt.NDArray[np.float64] = whole[2000:-2000] / whole.max()
    return out


@pytest.mark.parametrize("offset_hz", [0.0, 800.0])
@pytest.mark.parametrize(
    "sensor", SENSORS, ids=lambda s: f"{s.class_khz} kHz {s.cycles} cycles {s.sweep_hz:.0f} Hz"
)
def test_the_envelope_is_the_integrated_resonators(sensor: Sensor, offset_hz: float) -> None:
    """What the closed form leaves out is the counter-rotating term; twice its share of the peak is the bound."""
    ours, theirs = envelope(sensors.burst(sensor, offset_hz)), envelope(integrated(sensor, offset_hz))
    tau_s = sensor.decay_us * 1e-6
    built_up_s = tau_s * (1.0 - math.exp(-sensor.drive_s(offset_hz) / tau_s))
    left_out = 1.0 / (4.0 * math.pi * sensor.resonance_hz * built_up_s)
    assert np.abs(ours - theirs).max() < 2.0 * left_out < 0.06


@pytest.mark.parametrize(
    "sensor", SENSORS, ids=lambda s: f"{s.class_khz} kHz {s.cycles} cycles {s.sweep_hz:.0f} Hz"
)
def test_ringing_falls_by_tau(sensor: Sensor) -> None:
    wave = np.abs(sensors.envelope_wave(sensor))
    start = math.ceil(sensor.drive_s(0.0) * WAVE_RATE_HZ)
    later = start + round(sensor.decay_us * 1e-6 * WAVE_RATE_HZ)
    assert wave[later] / wave[start] == pytest.approx(math.exp(-1.0), rel=1e-3)


def test_a_damping_circuit_stops_the_membrane() -> None:
    free = Sensor(48, 48_000.0)
    braked = replace(free, brake_us=6.0)
    end = math.ceil(free.drive_s(0.0) * WAVE_RATE_HZ)
    assert np.allclose(sensors.burst(free)[:end], sensors.burst(braked)[:end], atol=1e-3)
    assert np.abs(sensors.burst(braked)[end + 100 :]).max() < 0.02


def test_a_bursts_envelope_peaks_at_one() -> None:
    """The wave itself comes within the envelope's fall over a quarter of a period."""
    for sensor in SENSORS:
        fall = math.exp(-0.25 / sensor.resonance_hz / (sensor.decay_us * 1e-6))
        assert fall * 0.99 < np.abs(sensors.burst(sensor)).max() <= 1.0


def test_a_fault_changes_what_it_says_and_no_more() -> None:
    sensor = Sensor(48, 48_000.0)
    assert faults.HEALTHY.of(sensor) == sensor
    assert faults.weak(15.0).of(sensor) == sensor
    assert faults.off_frequency(-9_000.0).of(sensor) == replace(sensor, resonance_hz=39_000.0)
    assert faults.iced(20.0).of(sensor) == replace(sensor, resonance_hz=46_600.0, decay_us=90.0)
    assert faults.short_ringing().of(sensor) == replace(sensor, brake_us=6.0)
