"""What a parking sensor sends: a few cycles of drive through a resonance.

The membrane is one resonance, seen as a complex envelope z(t) around its natural frequency w0:

    dz/dt = (-1/tau + j w0) z + exp(j phi(t)) while driven, and without the last term after it.

For a drive of constant frequency this has the closed form used here: the difference of the drive and of the natural
oscillation while driven, the natural oscillation alone afterwards. (Textbook theory of the driven harmonic oscillator
with the rotating-wave approximation, whose error is of the order 1/(2 w0 tau), 1 to 4 % of the peak: the tests
compare.) A swept drive has no closed form and is integrated tick by tick.

Published values behind the ranges: bursts of 4 to 20 cycles, ringing up to 1.2 ms (closed-face 40 kHz parts), -6 dB
bandwidth 2.0 kHz at 40 kHz, which is tau = sqrt(3)/(pi 2.0 kHz) = 0.28 ms for one resonance.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from curbtick.yard.front_end.timebase import WAVE_RATE_HZ

RealWave = npt.NDArray[np.float32]
ComplexWave = npt.NDArray[np.complex128]
Seconds = npt.NDArray[np.float64]

# Below this share of its peak a ringing membrane is no longer drawn (-70 dB).
QUIET = 10.0**-3.5
LONGEST_S = 0.030


@dataclass(frozen=True)
class Sensor:
    """One sensor as built: what it sends when it is triggered.

    class_khz: its class.
    resonance_hz: 30000 to 80000.
    cycles: cycles of drive, 2 to 64.
    decay_us: time constant tau of the envelope, 5 to 4000.
    sweep_hz: how far the drive's frequency moves from burst start to end.
    offsets_hz: drive frequency relative to the resonance, one for each burst in turn (most sensors have one).
    brake_us: time constant after the drive, where a damping circuit works then; None where the membrane rings freely.
    """

    class_khz: int
    resonance_hz: float
    cycles: int = 16
    decay_us: float = 180.0
    sweep_hz: float = 0.0
    offsets_hz: tuple[float, ...] = (0.0,)
    brake_us: float | None = None

    @property
    def ringing_us(self) -> float:
        """Time constant of the envelope after the drive."""
        return self.decay_us if self.brake_us is None else self.brake_us

    def drive_s(self, offset_hz: float) -> float:
        """Return how long the drive lasts in seconds."""
        return self.cycles / (self.resonance_hz + offset_hz)


def _tail_s(sensor: Sensor) -> float:
    return min(-math.log(QUIET) * sensor.ringing_us * 1e-6, LONGEST_S)


def _natural(sensor: Sensor, decay_us: float) -> complex:
    return -1e6 / decay_us + 2j * math.pi * sensor.resonance_hz


def _steady(sensor: Sensor, offset_hz: float, time_s: Seconds) -> ComplexWave:
    """Closed form while a drive of constant frequency lasts; time_s in seconds from the burst's start."""
    driven = 2j * math.pi * (sensor.resonance_hz + offset_hz)
    natural = _natural(sensor, sensor.decay_us)
    wave: ComplexWave = (np.exp(driven * time_s) - np.exp(natural * time_s)) / (driven - natural)
    return wave


def _swept(sensor: Sensor, offset_hz: float, time_s: Seconds) -> ComplexWave:
    """Integrate a drive whose frequency moves linearly by sweep_hz, centred on its mean."""
    start_hz = sensor.resonance_hz + offset_hz - sensor.sweep_hz / 2
    phase = 2.0 * math.pi * time_s * (start_hz + sensor.sweep_hz * time_s / (2.0 * sensor.drive_s(offset_hz)))
    step = np.exp(_natural(sensor, sensor.decay_us) / WAVE_RATE_HZ)
    wave: ComplexWave = lfilter([1.0 / WAVE_RATE_HZ], [1.0, -step], np.exp(1j * phase))
    return wave


def envelope_wave(sensor: Sensor, offset_hz: float = 0.0) -> ComplexWave:
    """Return z(t) of one burst, one value per tick, not normalised."""
    drive_s = sensor.drive_s(offset_hz)
    driven_count = math.ceil(drive_s * WAVE_RATE_HZ)
    ringing_count = math.ceil(_tail_s(sensor) * WAVE_RATE_HZ)
    time_s = np.append(np.arange(driven_count) / WAVE_RATE_HZ, drive_s)
    driven = (_swept if sensor.sweep_hz else _steady)(sensor, offset_hz, time_s)
    after_s = np.arange(driven_count, driven_count + ringing_count) / WAVE_RATE_HZ - drive_s
    ringing = driven[-1] * np.exp(_natural(sensor, sensor.ringing_us) * after_s)
    return np.concatenate([driven[:-1], ringing])


def burst(sensor: Sensor, offset_hz: float = 0.0) -> RealWave:
    """Return the pressure of one burst on the sensor's axis, one value per tick, its envelope's peak 1.

    offset_hz: drive frequency relative to the resonance.
    """
    wave = envelope_wave(sensor, offset_hz)
    out: RealWave = (wave.imag / np.abs(wave).max()).astype(np.float32)
    return out


def decay_us_of_bandwidth(bandwidth_hz: float) -> float:
    """Return tau in microseconds of a resonance from its full -6 dB bandwidth: sqrt(3) / (pi B)."""
    return math.sqrt(3.0) / (math.pi * bandwidth_hz) * 1e6
