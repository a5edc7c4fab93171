"""Noise from the microphone to the ADC's effective bits, as closed formulas.

Johnson noise 4kTR (Johnson 1928, Nyquist 1928); each source passes to its stage's output by the node
equations of response.py and from there by the gain of what follows. Levels are rms over 30-80 kHz, relative
to the rms of a full-scale sine.
"""

from collections.abc import Mapping

import numpy as np
from curbtick_wire.sampling import RATE_HZ

from curbtick.hardware import amplifier, converter, response
from curbtick.hardware.microphones import FIRST, Microphone
from curbtick.hardware.response import Complex, Reals
from curbtick.hardware.values import ROOM_K

BOLTZMANN = 1.380649e-23
BAND_HZ = (30_000.0, 80_000.0)
OPAMP = (amplifier.NOISE_NV_PER_RT_HZ.nominal * 1e-9) ** 2


def johnson(ohm: float) -> float:
    """Thermal noise of a resistance in V^2/Hz."""
    return 4.0 * BOLTZMANN * ROOM_K * ohm


def _power(gain: Complex) -> Reals:
    result: Reals = np.abs(gain) ** 2
    return result


def _filter_noise(r1: float, r2: float, r3: float, c1: float, c2: float, opamp: Complex, s: Complex) -> Reals:
    """Own noise of a multiple-feedback stage at its output, V^2/Hz, driven from a low impedance."""
    inverse = 1.0 / opamp
    admittance = 1.0 / r1 + 1.0 / r2 + s * c1 + 1.0 / r3
    node = -inverse - (1.0 + inverse) * s * c2 * r3
    divisor = admittance * node - 1.0 / r2 + inverse / r3
    from_opamp = (admittance * (1.0 + s * c2 * r3) - 1.0 / r3) / divisor
    return (
        johnson(r1) * _power(1.0 / (r1 * divisor))
        + johnson(r2) * _power(1.0 / (r2 * divisor))
        + johnson(r3) * _power((admittance - 1.0 / r3) / divisor)
        + OPAMP * _power(from_opamp)
    )


def _gain_noise(rg: float, rf: float, cg: float, opamp: Complex, s: Complex) -> Reals:
    """Own noise of a non-inverting stage at its output, V^2/Hz."""
    leg = rg + 1.0 / (s * cg)
    gain = response.gain_stage(rg, rf, cg, opamp, s)
    share = leg / (leg + rf)
    return (OPAMP + johnson(rf) * _power(share) + johnson(rg) * _power(1.0 - share)) * _power(gain)


def _inverting_noise(z1: Complex, r1: float, rf: float, opamp: Complex) -> Reals:
    """Own noise of the inverting stage at its output, V^2/Hz; z1 is all before it, r1 the resistor in it."""
    share = z1 / (z1 + rf)
    loop = opamp / (1.0 + opamp * share)
    stage = response.inverting(z1, rf, opamp)
    return OPAMP * _power(loop) + johnson(rf) * _power(loop * share) + johnson(r1) * _power(stage)


def _microphone_stage_noise(values: Mapping[str, float], opamp: Complex, s: Complex) -> Reals:
    """Own noise of stage M and its bias resistor at its output, V^2/Hz."""
    before = values["Rmic"] + 1.0 / (s * values["Cm"])
    share = before / (before + values["Rm"])
    stage = (values["Rn1"], values["Rn2"], values["Cn1"])
    gain = response.gain_stage(*stage, opamp, s)
    return _gain_noise(*stage, opamp, s) + johnson(values["Rm"]) * _power(share) * _power(gain)


def _stage(values: Mapping[str, float], letter: str) -> tuple[float, float, float, float, float]:
    r1, r2, r3 = (values[f"R{letter}{place}"] for place in "123")
    return r1, r2, r3, values[f"C{letter}1"], values[f"C{letter}2"]


def high_density(values: Mapping[str, float], frequency_hz: Reals, microphone: float | None = None) -> Reals:
    """Noise density at the high pin in V^2/Hz; microphone: its own noise in V^2/Hz, None for its resistance's."""
    s = 2j * np.pi * frequency_hz
    opamp = response.open_loop(values, s)
    z1 = values["Rh1"] + 1.0 / (s * values["Ch"])
    density = _microphone_stage_noise(values, opamp, s) * _power(response.inverting(z1, values["Rh2"], opamp))
    density = density + _inverting_noise(z1, values["Rh1"], values["Rh2"], opamp)
    for letter in "cd":
        parts = _stage(values, letter)
        passed = response.multiple_feedback(*parts, opamp, s)
        density = density * _power(passed) + _filter_noise(*parts, opamp, s)
    last = (values["Rg2"], values["Rf2"], values["Cg2"])
    density = density * _power(response.gain_stage(*last, opamp, s)) + _gain_noise(*last, opamp, s)
    density = density * _power(1.0 / (1.0 + s * values["Rout"] * values["Cout"])) + johnson(values["Rout"])
    own = johnson(values["Rmic"]) if microphone is None else microphone
    through = response.responses(values, frequency_hz)["high"]
    return density + own * _power(through)


def in_band_dbfs(density: Reals, frequency_hz: Reals, full_scale_peak_v: float) -> float:
    """Level over 30-80 kHz of a density in V^2/Hz, over a sine of full_scale_peak_v."""
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    square = float(np.trapezoid(density[inside], frequency_hz[inside]))
    return 10.0 * float(np.log10(2.0 * square / full_scale_peak_v**2))


def a_weighting_power(frequency_hz: Reals) -> Reals:
    """The A filter's power gain, 1 at 1 kHz (IEC 61672-1 annex E; constants from memory)."""
    square = frequency_hz**2
    curve = (12194.0**2 * square**2) / (
        (square + 20.6**2) * np.sqrt((square + 107.7**2) * (square + 737.9**2)) * (square + 12194.0**2)
    )
    result: Reals = (curve * 10.0 ** (2.0 / 20.0)) ** 2
    return result


def microphone_density(microphone: Microphone = FIRST, noise_db: float | None = None) -> float:
    """The microphone's noise in V^2/Hz, white, so that its A-weighted level to 20 kHz is what its data sheet says.

    noise_db: its own figure where it departs from the sheet's nominal one. Its sensitivity does not matter: a more
    sensitive capsule has as much more noise.
    """
    frequency_hz = np.linspace(10.0, 20_000.0, 20_000)
    width_hz = float(np.trapezoid(a_weighting_power(frequency_hz), frequency_hz))
    below_db = microphone.noise_db.nominal if noise_db is None else noise_db
    rms_dbv = microphone.sensitivity_db.nominal - below_db
    return float(10.0 ** (rms_dbv / 10.0) / width_hz)


def adc_dbfs(bits: float) -> float:
    """An ADC's noise over 30-80 kHz below a full-scale sine, spread evenly to half the sampling rate."""
    share = (BAND_HZ[1] - BAND_HZ[0]) / (RATE_HZ / 2)
    return -converter.sine_to_noise_db(bits) + 10.0 * float(np.log10(share))


def add_dbfs(*levels: float) -> float:
    """The level of independent noises together."""
    return 10.0 * float(np.log10(sum(10.0 ** (level / 10.0) for level in levels)))
