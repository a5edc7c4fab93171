"""A transducer as two coupled resonators: the driver's side (tuned by its transformer) and the membrane.

Its answer to a switching bridge is exact in continuous time: each switching starts the same step response, a sum of
two decaying oscillations, and the sums are taken in closed form. So no sample grid shapes the burst, and its phase
against the converter's clock is free.
"""

from dataclasses import dataclass

import numpy as np

from tests.bench.otheryard.physics.level import RATE_HZ
from tests.bench.otheryard.sensor.drive import Drive
from tests.bench.otheryard.types import C128, F64

SILENT_DB = 70.0


@dataclass(frozen=True)
class Transducer:
    """The oscillations of its step response: poles in rad/s (positive frequencies) and their complex weights."""

    poles: C128
    weights: C128

    def ring_s(self) -> float:
        """Seconds until the slowest oscillation has fallen by SILENT_DB."""
        return float(SILENT_DB / 20 * np.log(10) / np.min(-self.poles.real))

    def wave(self, driven: Drive, offset_s: float, stretch: float = 1.0) -> F64:
        """The radiated pressure at RATE_HZ, the first sample `offset_s` after the first switching.

        stretch: above 1 the whole burst runs slower, as a warm membrane and its clock do.
        """
        seconds = (driven.seconds + self.ring_s()) * stretch
        times_s = (offset_s + np.arange(int(seconds * RATE_HZ)) / RATE_HZ) / stretch
        last = np.searchsorted(driven.times_s, times_s, side="right") - 1
        total = np.zeros(len(times_s))
        for pole, weight in zip(self.poles, self.weights, strict=True):
            gathered = np.cumsum(driven.steps * np.exp(-pole * driven.times_s))
            total += 2 * (weight * gathered[last] * np.exp(pole * times_s)).real
        return np.where(last >= 0, total, 0.0)


def coupled(
    driver_hz: float, driver_q: float, membrane_hz: float, membrane_q: float, coupling: float
) -> Transducer:
    """Two unit masses joined by a spring of `coupling` times the driver's stiffness.

    The frequencies are those of each with the other one held fast. The force acts on the driver; the pressure follows
    the membrane's velocity. The response to a step of force is the sum of r/p exp(p t) over the poles p with residues
    r; it has no constant part, because velocity has none.
    """
    one, two = 2 * np.pi * driver_hz, 2 * np.pi * membrane_hz
    spring = coupling * one**2
    system = np.array(
        [
            [0, 1, 0, 0],
            [-(one**2), -one / driver_q, spring, 0],
            [0, 0, 0, 1],
            [spring, 0, -(two**2), -two / membrane_q],
        ]
    )
    poles, vectors = np.linalg.eig(system)
    force, velocity = np.array([0, 1, 0, 0]), np.array([0, 0, 0, 1])
    residues = (velocity @ vectors) * np.linalg.solve(vectors, force)
    upper = poles.imag > 0
    return Transducer(poles[upper], (residues / poles)[upper])


def single(frequency_hz: float, quality: float) -> Transducer:
    """One resonance alone: a step of force rings it as a sine that decays."""
    pole = 2 * np.pi * frequency_hz * (1j - 1 / (2 * quality))
    return Transducer(np.array([pole]), np.array([-0.5j]))


def beside(one: Transducer, other: Transducer, share: float) -> Transducer:
    """Two transducers that radiate together, the other with `share` of the amplitude: a membrane that has cracked."""
    weights = np.append(
        one.weights, other.weights * share * np.abs(one.weights).max() / np.abs(other.weights).max()
    )
    return Transducer(np.append(one.poles, other.poles), weights)
