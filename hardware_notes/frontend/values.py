"""Every component of the front end, once: the formulas, the netlist, the parts list and the drawing read this table.

A follower (M) carries the microphone, so that a chain that clips cannot load the other. The low chain is
two multiple-feedback low-pass stages (A1, A2: a fourth-order Chebyshev filter), which give the padded
output, and a stage of gain 4 (B), which gives the low output. The high chain is a low-noise inverting stage
(H1), the same filter (F1, F2) and a stage of gain 14 (H2). Filters come before gain, so that rumble and
what would alias never overload a later stage; only H1 stands before its filter, so that the microphone's
own noise, not the filter's, sets the floor. The bias resistor Rm is small, so that with the microphone
unplugged the floor falls by more than 10 dB: that tells a missing microphone from a quiet yard. Every gain
stage loses its gain below its corner, against rumble, and passes the mid-scale bias on at unity gain, so
that one divider biases all.
"""

from dataclasses import dataclass

KELVIN = 298.15
SUPPLY_V = 3.3
FULL_SCALE_PEAK_V = SUPPLY_V / 2


@dataclass(frozen=True)
class Part:
    """A component: value in ohms, farads or hertz; tolerance as a fraction (uniform bounds); what it is."""

    value: float
    tolerance: float
    what: str


RESISTOR = 0.01
FILTER_CAPACITOR = 0.02
CAPACITOR = 0.05

PARTS: dict[str, Part] = {
    "Rmic": Part(380.0, 0.20, "the microphone's own output resistance"),
    "Cm": Part(22e-9, CAPACITOR, "C0G, blocks the microphone's rest voltage; high-pass with Rm"),
    "Rm": Part(2200.0, RESISTOR, "M, to the mid-scale bias"),
    "Cl": Part(22e-9, CAPACITOR, "C0G or film, high-pass of the low chain"),
    "Ra1": Part(2000.0, RESISTOR, "A1"),
    "Ra2": Part(2000.0, RESISTOR, "A1"),
    "Ra3": Part(1600.0, RESISTOR, "A1"),
    "Ca1": Part(2.2e-9, FILTER_CAPACITOR, "A1, C0G"),
    "Ca2": Part(680e-12, FILTER_CAPACITOR, "A1, C0G"),
    "Rb1": Part(1600.0, RESISTOR, "A2"),
    "Rb2": Part(2200.0, RESISTOR, "A2"),
    "Rb3": Part(1000.0, RESISTOR, "A2"),
    "Cb1": Part(6.8e-9, FILTER_CAPACITOR, "A2, C0G"),
    "Cb2": Part(150e-12, FILTER_CAPACITOR, "A2, C0G"),
    "Rg1": Part(1000.0, RESISTOR, "B"),
    "Rf1": Part(3000.0, RESISTOR, "B"),
    "Cg1": Part(47e-9, CAPACITOR, "B, C0G or film; low-frequency corner"),
    "Ch": Part(22e-9, CAPACITOR, "C0G or film, high-pass of the high chain"),
    "Rh1": Part(2000.0, RESISTOR, "H1"),
    "Rh2": Part(56000.0, RESISTOR, "H1"),
    "Rc1": Part(2000.0, RESISTOR, "F1"),
    "Rc2": Part(2000.0, RESISTOR, "F1"),
    "Rc3": Part(1600.0, RESISTOR, "F1"),
    "Cc1": Part(2.2e-9, FILTER_CAPACITOR, "F1, C0G"),
    "Cc2": Part(680e-12, FILTER_CAPACITOR, "F1, C0G"),
    "Rd1": Part(1600.0, RESISTOR, "F2"),
    "Rd2": Part(2200.0, RESISTOR, "F2"),
    "Rd3": Part(1000.0, RESISTOR, "F2"),
    "Cd1": Part(6.8e-9, FILTER_CAPACITOR, "F2, C0G"),
    "Cd2": Part(150e-12, FILTER_CAPACITOR, "F2, C0G"),
    "Rg2": Part(1000.0, RESISTOR, "H2"),
    "Rf2": Part(13300.0, RESISTOR, "H2"),
    "Cg2": Part(47e-9, CAPACITOR, "H2, C0G or film; low-frequency corner"),
    "Rout": Part(220.0, RESISTOR, "before each ADC pin, limits the clamp's current"),
    "Cout": Part(1e-9, CAPACITOR, "at each ADC pin, C0G, feeds the converter's sampling capacitor"),
    "GBW": Part(20e6, 0.40, "gain-bandwidth product of each operational amplifier"),
}

# Not in the signal path, so not in the response.
RVB_OHM = 10_000.0
CVB_F = 10e-6

OPAMP_DC_GAIN = 1e6
OPAMP_NOISE_V_PER_RT_HZ = 5e-9
OPAMP_SUPPLY_A = 1.6e-3
OPAMP_COUNT = 8

# The microphone, as data sheets of analogue MEMS microphones with an extended range state it (common
# practice, from memory): -38 dBV at 1 Pa, 64 dB(A) signal to noise, 10 % distortion at 123 dB SPL.
MIC_DBV_PER_PA = -38.0
MIC_SNR_DBA = 64.0
MIC_OVERLOAD_DB_SPL = 123.0
MIC_TOLERANCE_DB = 1.0
MIC_SUPPLY_A = 0.18e-3

OUTPUTS = ("padded", "low", "high")


def nominal() -> dict[str, float]:
    """The nominal value of each part."""
    return {name: part.value for name, part in PARTS.items()}
