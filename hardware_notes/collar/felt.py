"""Felt by Delany and Bazley, and the attenuator that is a plug of it.

Delany & Bazley, Applied Acoustics 3 (1970) 105-116: with X = rho f / sigma (their range: 0.01 to 1), Zc =
rho c (1 + 0.0571 X^-0.754 - j 0.087 X^-0.732), k = (w/c) (1 + 0.0978 X^-0.700 - j 0.189 X^-0.595). From
memory.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from hardware_notes.collar import geometry as collar

Complex = npt.NDArray[np.complexfloating[Any, Any]]
Reals = npt.NDArray[np.floating[Any]]
RANGE = (0.01, 1.0)


def constants(frequency_hz: Reals, resistivity: float) -> tuple[Complex, Complex]:
    """(characteristic impedance over that of air, propagation constant in 1/m). Raises ValueError out of range."""
    x = collar.AIR_KG_PER_M3 * frequency_hz / resistivity
    if x.min() < RANGE[0] or x.max() > RANGE[1]:
        raise ValueError("the felt's formula holds for rho f / sigma from 0.01 to 1")
    impedance = 1.0 + 0.0571 * x**-0.754 - 0.087j * x**-0.732
    wavenumber = 2.0 * np.pi * frequency_hz / collar.SOUND_M_PER_S
    return impedance, 1j * wavenumber * (1.0 + 0.0978 * x**-0.700 - 0.189j * x**-0.595)


def decibels_per_metre(frequency_hz: Reals, resistivity: float) -> Reals:
    """How fast a wave dies in the felt."""
    result: Reals = 20.0 / np.log(10.0) * constants(frequency_hz, resistivity)[1].real
    return result


def _matrix(impedance: Complex, constant: Complex, length_m: float) -> tuple[Complex, Complex, Complex]:
    turn = constant * length_m
    return np.cosh(turn), impedance * np.sinh(turn), np.sinh(turn) / impedance


def attenuation_db(
    frequency_hz: Reals, plug_m: float = collar.PLUG_M, resistivity: float = collar.FELT_RESISTIVITY
) -> Reals:
    """Level of the free wave over that at the microphone: felt plug, air gap, microphone in a rigid end.

    Plane waves by transfer matrices; the rigid end alone would be -6 dB.
    """
    felt_a, felt_b, felt_c = _matrix(*constants(frequency_hz, resistivity), plug_m)
    air = 2j * np.pi * frequency_hz / collar.SOUND_M_PER_S
    gap_a, _, gap_c = _matrix(np.ones_like(air), air, collar.GAP_M)
    pressure = felt_a * gap_a + felt_b * gap_c
    velocity = felt_c * gap_a + felt_a * gap_c
    result: Reals = 20.0 * np.log10(np.abs(pressure + velocity) / 2.0)
    return result


def reflection_db(frequency_hz: Reals, thickness_m: float, cosine: float = 1.0) -> Reals:
    """Level of the wave reflected by felt on a rigid wall, over the incident one, at a cosine of incidence."""
    impedance, constant = constants(frequency_hz, collar.FELT_RESISTIVITY)
    surface = impedance / np.tanh(constant * thickness_m) * cosine
    result: Reals = 20.0 * np.log10(np.abs((surface - 1.0) / (surface + 1.0)))
    return result
