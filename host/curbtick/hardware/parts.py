"""The parts by name: what each must meet, a present part that meets it, and where its figure is read.

A condition is a range; the named part's figure must lie in it, which a test checks. Where no document was read, the
source says "from memory": compare with the sheet before ordering.
"""

from dataclasses import dataclass

from curbtick.hardware import amplifier, microphones
from curbtick.hardware.components import Figure, figure
from curbtick.hardware.microphones import Microphone

_MEMORY = "from memory"
_FET_SHEET = "DMG2305UX data sheet, product summary (Diodes Incorporated), read at a distributor"
_FET_RATINGS = "DMG2305UXQ data sheet, maximum ratings (Diodes Incorporated)"
_CLAMP_SHEET = "BAT54S data sheet (Formosa MS; the same figures in Taiwan Semiconductor's, version A06)"
_SUPPRESSOR_SHEET = "TPD1E05U06 product page (Texas Instruments; data sheet SLVSBO7N)"
_FUSE_SHEET = "MF-MSMF series data sheet (Bourns), electrical characteristics"
_AMPLIFIER_SHEET = "OPA4322 data sheet SBOS538F, page 1"


@dataclass(frozen=True)
class Condition:
    """What a part must meet. what: the figure and its unit; bounds: (least, most), None where open; given: the named
    part's figure with its whole range and its source.
    """

    what: str
    bounds: tuple[float | None, float | None]
    given: Figure

    @property
    def met(self) -> bool:
        """Whether the named part's figure lies within the bounds over its whole range."""
        least, most = self.bounds
        return (least is None or self.given.least >= least) and (most is None or self.given.most <= most)

    @property
    def asked(self) -> str:
        """The bounds in words."""
        least, most = self.bounds
        words = [] if least is None else [f"at least {least:g}"]
        return ", ".join(words if most is None else [*words, f"at most {most:g}"])


@dataclass(frozen=True)
class Part:
    """A part of the list. count; refs on the drawings; example: the named part; second: another source."""

    name: str
    count: int
    refs: str
    example: str
    conditions: tuple[Condition, ...]
    second: str


def _least(what: str, bound: float, given: float, source: str) -> Condition:
    return Condition(what, (bound, None), figure(given, given, given, source))


def _most(what: str, bound: float, given: float, source: str) -> Condition:
    return Condition(what, (None, bound), figure(given, given, given, source))


def _microphone(given: Microphone) -> tuple[Condition, ...]:
    return (
        Condition("sensitivity, dBV at 1 Pa", (-39.0, -37.0), given.sensitivity_db),
        Condition("signal to noise, dB(A)", (61.0, None), given.noise_db),
        Condition("overload, dB SPL", (115.0, None), given.overload_db),
        Condition("least load of its test conditions, ohm (ours: 3300)", (None, 3300.0), given.load_min_ohm),
        Condition("output resistance, ohm", (None, 460.0), given.output_ohm),
        Condition("lowest supply, V", (None, 3.0), given.supply_low_v),
        Condition("highest supply, V", (3.4, None), given.supply_high_v),
        Condition("supply current, mA", (None, 0.2), given.supply_ma),
        _least("response stated up to, kHz", 80.0, 80.0, given.shape_source),
    )


PARTS: tuple[Part, ...] = (
    Part("microphone", 1, "MK1", f"{microphones.FIRST.name} ({microphones.FIRST.maker})",
         _microphone(microphones.FIRST), f"{microphones.SECOND.name} ({microphones.SECOND.maker}), see below"),
    Part("second microphone", 1, "MK1", f"{microphones.SECOND.name} ({microphones.SECOND.maker}), with Rn1, Rn2, Cn1 "
         "and its own plug", _microphone(microphones.SECOND), "-"),
    Part("amplifier, four in a package", 2, "U2, U3", "OPA4322 (Texas Instruments), TSSOP-14 on an adapter", (
        _least("gain-bandwidth, MHz", 12.0, 20.0, _AMPLIFIER_SHEET),
        Condition("noise, nV per root Hz at 1 kHz", (None, 8.5), amplifier.NOISE_NV_PER_RT_HZ),
        Condition("offset, mV", (-2.0, 2.0), amplifier.OFFSET_MV),
        _most("lowest supply, V", 3.0, 1.8, _AMPLIFIER_SHEET),
        _least("highest supply, V", 3.4, 5.5, _AMPLIFIER_SHEET),
        Condition("current of each amplifier, mA", (None, 1.9), amplifier.SUPPLY_MA),
        _least("slew rate, V per us (full swing at 80 kHz takes 0.8)", 2.0, 10.0, _AMPLIFIER_SHEET),
        Condition("output from each rail, mV at 1 to 3 kohm", (None, 80.0), amplifier.SWING_MV),
    ), "OPA2320 (Texas Instruments), two of them for one package: 20 MHz, 8.5 nV at 1 kHz, 0.15 mV (its sheet)"),
    Part("P-FET", 1, "Q1", "DMG2305UX (Diodes Incorporated), SOT-23 on an adapter", (
        _least("drain to source, V (cable and reversed cells: 9.6)", 12.0, 20.0, _FET_SHEET),
        _least("gate to source, V", 5.5, 8.0, _FET_RATINGS),
        _most("gate threshold, V", 1.5, 0.9, "Raspberry Pi Pico data sheet, section 4.5, on this part"),
        _most("resistance at -2.5 V, ohm", 0.2, 0.1, _FET_SHEET),
        _least("current, A", 1.0, 4.2, _FET_RATINGS),
    ), "DMP2305U (Diodes Incorporated, DS31737 Rev. 6-2): 90 mohm at -2.5 V; it is another type, not another maker"),
    Part("clamp", 3, "D1, D2, D3", "BAT54S (several makers), SOT-23 on an adapter", (
        _most("forward voltage at 1 mA, V", 0.35, 0.32, _CLAMP_SHEET),
        _most("leakage at 25 V, uA", 2.0, 2.0, _CLAMP_SHEET),
        _least("reverse voltage, V", 5.0, 30.0, _CLAMP_SHEET),
        _most("capacitance at 1 V, pF", 20.0, 10.0, _CLAMP_SHEET),
    ), "any maker's BAT54S"),
    Part("suppressor", 1, "D4", "TPD1E05U06 (Texas Instruments), SOD-523 on an adapter", (
        _least("working voltage, V", 3.4, 5.5, _SUPPRESSOR_SHEET),
        _most("capacitance, pF", 5.0, 0.5, _SUPPRESSOR_SHEET),
        _most("leakage, nA", 100.0, 10.0, _SUPPRESSOR_SHEET),
    ), "PESD5V0U1UB (NXP, Nexperia): 5 V, 2.6 pF, 0.1 uA (distributor's table), unidirectional"),
    Part("fuse", 1, "F1", "MF-MSMF050 (Bourns), resettable, soldered into the lead at the holder's plus", (
        _least("hold current, A (the probe draws 0.06)", 0.3, 0.5, _FUSE_SHEET),
        _most("trip current, A", 1.5, 1.0, _FUSE_SHEET),
        _least("voltage, V", 6.0, 15.0, _FUSE_SHEET),
        _most("resistance after tripping, ohm", 1.5, 1.0, _FUSE_SHEET),
    ), "MF-PSMF050X (Bourns): 0.5 A, 1.0 A, 6 V, 0.9 ohm; any maker's of these figures"),
    Part("power switch", 1, "S1", "toggle or rocker for a 6 mm hole, one contact", (
        _least("current, A", 1.0, 3.0, _MEMORY),
        _least("voltage, V", 6.0, 30.0, _MEMORY),
    ), "any"),
    Part("board connectors", 2, "J1, J3", "XH series (JST), its 2.5 mm in the board's holes of 2.54 mm", (
        _least("current of a pin, A", 0.5, 3.0, _MEMORY),
        _most("height with its plug in, mm", 10.0, 9.8, _MEMORY),
    ), "any of this height"),
)  # fmt: skip

# What no condition in figures describes: (what, count, description). What the case asks for is in build.md.
OTHERS: tuple[tuple[str, str, str], ...] = (
    (
        "controller",
        "1",
        "40-pad board with RP2040 or RP2350, 2 MB of flash or more, no radio; flat on its board, not on sockets",
    ),
    (
        "LEDs",
        "12",
        "3 mm, red or amber (green and blue ones are dark on 3.3 V: power.md), diffused, 2 cd at 20 mA, one batch",
    ),
    ("buttons", "2", "sealed push button for a 12 mm hole, felt through a glove"),
    ("beeper", "1", "piezo disc without driver, resonance near 4 kHz"),
    ("cells", "3", "AA NiMH, low self-discharge, 2 Ah; open holder for three in a row"),
    (
        "adapters",
        "2 + 4 + 1",
        "TSSOP-14 to two rows 15.24 mm apart; SOT-23 to three pins; SOD-523 to two pins",
    ),
    (
        "microphone's board",
        "1",
        "ready breakout with VDD, GND and OUT on 2.54 mm, sound hole free from behind",
    ),
    (
        "cable",
        "0.15 m",
        "two wires and a braid (AGND) from J1 to the microphone; six wires from J3, soldered in at J4",
    ),
    (
        "wire",
        "3 m",
        "0.2 mm2 solid, insulated, for the boards; 0.25 mm2 stranded, red and black, for the cells",
    ),
    ("felt", "-", "wool felt, flow resistivity 100 kPa s/m2 within a fifth (ISO 9053-1): plug, lining, rim"),
    ("solder, flux, sleeves", "-", "heat-shrink sleeve over the fuse and both leads of the holder"),
)
