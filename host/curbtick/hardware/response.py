"""The front end's response as closed formulas, one per stage.

Node equations with a single-pole amplifier A(s) = A0 / (1 + s A0 / (2 pi GBW)). Handbook forms:
multiple-feedback low-pass f0 = 1 / (2 pi sqrt(R2 R3 C1 C2)) and non-inverting gain 1 + Rf / Zg (Zumbahlen,
Linear Circuit Design Handbook, chapters 1 and 8; from memory).
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from curbtick.hardware.amplifier import DC_GAIN

Complex = Any
Reals = npt.NDArray[Any]
Values = Mapping[str, Any]


def _laplace(frequency_hz: Reals) -> Complex:
    return 2j * np.pi * frequency_hz


def open_loop(values: Values, s: Complex) -> Complex:
    """The amplifier's own gain."""
    gain: Complex = DC_GAIN / (1.0 + s * DC_GAIN / (2.0 * np.pi * values["GBW"]))
    return gain


def microphone_stage(values: Values, opamp: Complex, s: Complex) -> Complex:
    """The microphone through Cm, loaded by Rm, then stage M: a follower, or a gain stage with the second microphone."""
    v = values
    loaded = v["Rm"] / (v["Rm"] + v["Rmic"] + 1.0 / (s * v["Cm"]))
    return loaded * gain_stage(v["Rn1"], v["Rn2"], v["Cn1"], opamp, s)


def multiple_feedback(z1: Any, r2: Any, r3: Any, c1: Any, c2: Any, opamp: Complex, s: Complex) -> Complex:
    """Gain of a multiple-feedback low-pass: z1 in front, r2 and c2 fed back, r3 between, c1 to ground.

    From the node equations: with v- = -Vo/A, the current through r3 is that through c2.
    """
    inverse = 1.0 / opamp
    node = -inverse - (1.0 + inverse) * s * c2 * r3
    return (1.0 / z1) / (node * (1.0 / z1 + 1.0 / r2 + s * c1 + 1.0 / r3) - 1.0 / r2 + inverse / r3)


def inverting(z1: Any, rf: Any, opamp: Complex) -> Complex:
    """Gain of an inverting stage: z1 in front, rf fed back."""
    return -1.0 / (z1 / rf + (1.0 + z1 / rf) / opamp)


def gain_stage(rg: Any, rf: Any, cg: Any, opamp: Complex, s: Complex) -> Complex:
    """Gain of a non-inverting stage whose lower leg is rg in series with cg."""
    feedback = (rg + 1.0 / (s * cg)) / (rg + rf + 1.0 / (s * cg))
    return opamp / (1.0 + opamp * feedback)


def responses(values: Values, frequency_hz: Reals) -> dict[str, Complex]:
    """Complex gain from the microphone's voltage to each ADC pin, for "padded", "low" and "high".

    Values may be arrays that broadcast against frequency_hz, for many draws at once.
    """
    s = _laplace(frequency_hz)
    opamp = open_loop(values, s)
    v = values

    def stage(letter: str, z1: Any) -> Complex:
        parts = (v[f"R{letter}2"], v[f"R{letter}3"], v[f"C{letter}1"], v[f"C{letter}2"])
        return multiple_feedback(z1, *parts, opamp, s)

    microphone = microphone_stage(v, opamp, s)
    pin = 1.0 / (1.0 + s * v["Rout"] * v["Cout"])
    padded = microphone * stage("a", v["Ra1"] + 1.0 / (s * v["Cl"])) * stage("b", v["Rb1"]) * pin
    first = inverting(v["Rh1"] + 1.0 / (s * v["Ch"]), v["Rh2"], opamp)
    high = microphone * first * stage("c", v["Rc1"]) * stage("d", v["Rd1"]) * pin
    return {
        "padded": padded,
        "low": padded * gain_stage(v["Rg1"], v["Rf1"], v["Cg1"], opamp, s),
        "high": high * gain_stage(v["Rg2"], v["Rf2"], v["Cg2"], opamp, s),
    }


def decibels(response: Complex) -> Reals:
    """20 log10 of the magnitude."""
    result: Reals = 20.0 * np.log10(np.abs(response))
    return result
