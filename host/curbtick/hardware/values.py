"""Every component of the front end and its supplies, once.

A stage (M) takes the microphone's signal, so that a chain that clips cannot load the other. The low chain is two
multiple-feedback low-pass stages (A1, A2: a fourth-order Chebyshev filter), which give the padded output, and a stage
of gain 4 (B), which gives the low output. The high chain is a low-noise inverting stage (H1), the same filter (F1, F2)
and a stage of gain 14 (H2). Filters come before gain, so that rumble and what would alias never overload a later stage;
only H1 stands before its filter, so that the microphone's own noise, not the filter's, sets the floor. Every gain stage
loses its gain below its corner, against rumble, and passes the bias on at unity gain, so that one divider biases all.

The bias is a net of its own. It carries the current of Rm and nothing else: shunt capacitors and the legs of the gain
stages go to the analogue ground, so that no output drives the bias.
"""

from curbtick.hardware.components import Bandwidth, Capacitor, Component, Resistor
from curbtick.hardware.microphones import FIRST, Microphone

ROOM_K = 298.15

_ONE_PERCENT = 0.01
_PRECISE = 0.001
_FILTER = 0.02
_COUPLING = 0.05
_C0G = "C0G"
_FILM = "C0G or film"


def _stage(letter: str, stages: tuple[str, str]) -> dict[str, Component]:
    """The two filter stages of a chain; letter: the first of its resistors' names; the second is the next one."""
    after = chr(ord(letter) + 1)
    first, second = stages
    return {
        f"R{letter}1": Resistor(2000.0, _ONE_PERCENT, first),
        f"R{letter}2": Resistor(2000.0, _ONE_PERCENT, first),
        f"R{letter}3": Resistor(1600.0, _ONE_PERCENT, first),
        f"C{letter}1": Capacitor(2.2, _FILTER, _C0G, first),
        f"C{letter}2": Capacitor(0.68, _FILTER, _C0G, first),
        f"R{after}1": Resistor(1600.0, _ONE_PERCENT, second),
        f"R{after}2": Resistor(2200.0, _ONE_PERCENT, second),
        f"R{after}3": Resistor(1000.0, _ONE_PERCENT, second),
        f"C{after}1": Capacitor(6.8, _FILTER, _C0G, second),
        f"C{after}2": Capacitor(0.15, _FILTER, _C0G, second),
    }


# The signal path: what the responses, the noise and the drawn front ends depend on.
SIGNAL: dict[str, Component] = {
    "Cm": Capacitor(22.0, _COUPLING, _C0G, "blocks the microphone's rest voltage; high-pass with Rm"),
    "Rm": Resistor(3300.0, _ONE_PERCENT, "M, to the bias; the microphone's load"),
    "Rn1": Resistor(470.0, _ONE_PERCENT, "M, gain for the second microphone; left out with the first"),
    "Rn2": Resistor(2200.0, _ONE_PERCENT, "M, gain for the second microphone; a wire with the first"),
    "Cn1": Capacitor(220.0, _COUPLING, _FILM, "M, gain for the second microphone; left out with the first"),
    "Cl": Capacitor(22.0, _COUPLING, _FILM, "high-pass of the low chain"),
    **_stage("a", ("A1", "A2")),
    "Rg1": Resistor(1000.0, _ONE_PERCENT, "B"),
    "Rf1": Resistor(3000.0, _ONE_PERCENT, "B"),
    "Cg1": Capacitor(47.0, _COUPLING, _FILM, "B, low-frequency corner"),
    "Ch": Capacitor(22.0, _COUPLING, _FILM, "high-pass of the high chain"),
    "Rh1": Resistor(2000.0, _ONE_PERCENT, "H1"),
    "Rh2": Resistor(56000.0, _ONE_PERCENT, "H1"),
    **_stage("c", ("F1", "F2")),
    "Rg2": Resistor(1000.0, _ONE_PERCENT, "H2"),
    "Rf2": Resistor(13300.0, _ONE_PERCENT, "H2"),
    "Cg2": Capacitor(47.0, _COUPLING, _FILM, "H2, low-frequency corner"),
    "Rout": Resistor(220.0, _ONE_PERCENT, "before each ADC pin, limits the clamp's current"),
    "Cout": Capacitor(1.0, _COUPLING, _C0G, "at each ADC pin, feeds the converter's sampling capacitor"),
    "GBW": Bandwidth(20.0, 0.40, "gain-bandwidth product of each amplifier (amplifier.py)"),
}

# Supplies and bias. The divider is not even: see rails.py, which shows what it keeps clear of.
SUPPLY: dict[str, Component] = {
    "Rv1": Resistor(10_000.0, _PRECISE, "bias divider, from ADC_VREF"),
    "Rv2": Resistor(10_500.0, _PRECISE, "bias divider, to AGND"),
    "Cv1": Capacitor(10_000.0, 0.20, "X7R", "holds the bias"),
    "Cv2": Capacitor(100.0, 0.10, "X7R", "holds the bias at high frequencies"),
    "Rs1": Resistor(10.0, _ONE_PERCENT, "amplifiers' supply filter"),
    "Cs1": Capacitor(47_000.0, 0.20, "X5R or aluminium", "amplifiers' supply filter"),
    "Cs2": Capacitor(100.0, 0.10, "X7R", "at U2's supply pins"),
    "Cs3": Capacitor(100.0, 0.10, "X7R", "at U3's supply pins"),
    "Rs2": Resistor(100.0, _ONE_PERCENT, "microphone's supply filter"),
    "Cs4": Capacitor(10_000.0, 0.20, "X7R", "microphone's supply filter"),
    "Cs5": Capacitor(100.0, 0.10, "X7R", "at the microphone's supply pin, on its small board"),
    "Rq1": Resistor(100_000.0, 0.05, "pulls the P-FET's gate down when no cable is in"),
    "Cq1": Capacitor(10_000.0, 0.20, "X7R", "at VSYS"),
}

PANEL: dict[str, Component] = {
    "Rl": Resistor(560.0, 0.05, "in series with each LED"),
    "Rz": Resistor(100.0, 0.05, "in series with the beeper"),
}

OUTPUTS = ("padded", "low", "high")
OPEN_OHM = 1e12
LINK_OHM = 1e-3


def component(name: str) -> Component | None:
    """The component of a name in any of the tables; None for what is no resistor and no capacitor."""
    return SIGNAL.get(name) or SUPPLY.get(name) or PANEL.get(name)


def nominal(microphone: Microphone = FIRST) -> dict[str, float]:
    """The nominal values of the signal path with a microphone, in ohm, farad and hertz.

    `Rmic` is the microphone's own output resistance. Where a part is left out its resistance is OPEN_OHM, where a wire
    stands in its place LINK_OHM.
    """
    return fitted({name: part.si for name, part in SIGNAL.items()}, microphone)


def fitted(values: dict[str, float], microphone: Microphone) -> dict[str, float]:
    """The same values with what this microphone leaves out or bridges, and its output resistance unless given."""
    whole = {"Rmic": microphone.output_ohm.nominal, **values}
    return whole if microphone.gain_stage else {**whole, "Rn1": OPEN_OHM, "Rn2": LINK_OHM}


def unplugged(values: dict[str, float]) -> dict[str, float]:
    """The same values with nothing where the microphone was."""
    return {**values, "Rmic": OPEN_OHM}
