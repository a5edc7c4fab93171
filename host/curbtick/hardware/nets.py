"""What is connected to what: every part of the probe with the net at each of its pins.

The netlists for ngspice and for a layout program, the schematic, the perfboard and the wiring list are made from
this table, and each is read back and compared with it. A pin that is left free on purpose says FREE.

AGND is pad 33 and carries the front end alone; GND is all other ground pads. They meet on the controller board only.
BIAS is the resting voltage of the signal path, a net of its own.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from curbtick.hardware import pins
from curbtick.hardware.values import component

FREE = "free"
GND, AGND, BIAS = "GND", "AGND", "BIAS"
RAIL, REFERENCE, AMPLIFIERS, MICROPHONE = "3V3", "ADC_VREF", "AVDD", "MVDD"
GROUNDS = (GND, AGND)
# Supplies of the front end and what each feeds from; every one must be decoupled to AGND.
DECOUPLED = (AMPLIFIERS, MICROPHONE, BIAS)
LEDS = 12


@dataclass(frozen=True)
class Instance:
    """A part in its place. ref: its name on every drawing; kind: key of pins.PINS; value: key of values.py's tables
    or of parts.PARTS; nets: (pin number, net) pairs; sheet: the schematic's sheet that shows it.
    """

    ref: str
    kind: str
    value: str
    nets: tuple[tuple[str, str], ...]
    sheet: str

    def net(self, number: str) -> str:
        """The net at a pin. Raises KeyError when the table leaves the pin out."""
        return dict(self.nets)[number]

    @property
    def shown(self) -> str:
        """The value as drawings print it."""
        found = component(self.value)
        return found.shown if found else self.value


def _kind(value: str) -> str:
    found = component(value)
    if found is None:
        raise KeyError(f"no table of values has {value}: add it to values.py")
    return found.kind


def _chain(rows: str, sheet: str) -> list[Instance]:
    """Two-pin parts from lines `ref net net`; the ref is also the value's name."""
    made = []
    for row in rows.split("\n"):
        if row.strip():
            ref, first, second = row.split()
            made.append(Instance(ref, _kind(ref), ref, (("1", first), ("2", second)), sheet))
    return made


def _quad(ref: str, units: dict[str, tuple[str, str, str]], sheet: str) -> Instance:
    """A package of four amplifiers; units: letter -> nets of (+input, -input, output)."""
    nets = {"4": AMPLIFIERS, "11": AGND}
    for letter, wired in units.items():
        nets.update(zip(pins.QUAD_UNITS[letter], wired, strict=True))
    return Instance(
        ref, "amplifier", "amplifier", tuple(sorted(nets.items(), key=lambda e: int(e[0]))), sheet
    )


_MICROPHONE = """
Rs2 AVDD MVDD
Cs4 MVDD AGND
Cs5 MVDD AGND
Cm MIC M1
Rm M1 BIAS
Rn2 MN M
Rn1 MN MC
Cn1 MC AGND
"""
_LOW = """
Cl M A0
Ra1 A0 A
Ra2 A AOUT
Ra3 A AN
Ca1 A AGND
Ca2 AN AOUT
Rb1 AOUT B
Rb2 B BOUT
Rb3 B BN
Cb1 B AGND
Cb2 BN BOUT
Rg1 GN GC
Cg1 GC AGND
Rf1 GN GOUT
Cs2 AVDD AGND
"""
_HIGH = """
Ch M H0
Rh1 H0 HN
Rh2 HN HOUT
Rc1 HOUT C
Rc2 C COUT
Rc3 C CN
Cc1 C AGND
Cc2 CN COUT
Rd1 COUT D
Rd2 D DOUT
Rd3 D DN
Cd1 D AGND
Cd2 DN DOUT
Rg2 EN EC
Cg2 EC AGND
Rf2 EN EOUT
Cs3 AVDD AGND
"""
_BIAS = """
Rv1 ADC_VREF BIAS
Rv2 BIAS AGND
Cv1 BIAS AGND
Cv2 BIAS AGND
Rs1 3V3 AVDD
Cs1 AVDD AGND
"""
_POWER = """
Rq1 VBUS GND
Cq1 VSYS GND
"""


def _outputs() -> list[Instance]:
    """Resistor, capacitor and clamp at each ADC pin."""
    made = []
    for place, (net, driver) in enumerate((("PADDED", "BOUT"), ("LOW", "GOUT"), ("HIGH", "EOUT")), start=1):
        made += [
            Instance(f"Ro{place}", "resistor", "Rout", (("1", driver), ("2", net)), "outputs"),
            Instance(f"Co{place}", "capacitor", "Cout", (("1", net), ("2", AGND)), "outputs"),
            Instance(f"D{place}", "clamp", "clamp", (("1", AGND), ("2", RAIL), ("3", net)), "outputs"),
        ]
    return made


def _panel() -> list[Instance]:
    """Bar, buttons, beeper and the optional serial connector."""
    made = []
    for led in range(1, LEDS + 1):
        made += [
            Instance(f"Rl{led}", "resistor", "Rl", (("1", f"BAR_{led}"), ("2", f"LED_{led}")), "panel"),
            Instance(f"LED{led}", "led", "led", (("1", GND), ("2", f"LED_{led}")), "panel"),
        ]
    return [
        *made,
        Instance("S2", "button", "button", (("1", "READ"), ("2", GND)), "panel"),
        Instance("S3", "button", "button", (("1", "STEP"), ("2", GND)), "panel"),
        Instance("Rz1", "resistor", "Rz", (("1", "BEEPER"), ("2", "BEEP")), "panel"),
        Instance("BZ1", "beeper", "beeper", (("1", "BEEP"), ("2", GND)), "panel"),
        Instance(
            "J2", "connector", "serial header", (("1", GND), ("2", "UART_TX"), ("3", "UART_RX")), "panel"
        ),
    ]


def _power() -> list[Instance]:
    """Cells, fuse, switch and the P-FET: its drain is at the cells, so that its body diode can never charge them."""
    return [
        Instance("BT1", "cells", "cells", (("1", "CELL"), ("2", GND)), "power"),
        Instance("F1", "fuse", "fuse", (("1", "CELL"), ("2", "FUSED")), "power"),
        Instance("S1", "switch", "switch", (("1", "FUSED"), ("2", "BATT")), "power"),
        Instance("Q1", "p-fet", "p-fet", (("1", "VBUS"), ("2", "VSYS"), ("3", "BATT")), "power"),
        *_chain(_POWER, "power"),
    ]


# Pads of the controller board and the nets at them; the firmware's pin table gives the same pads the same names.
CONTROLLER_NETS: dict[str, str] = {
    **{pad: name for pad, name in pins.FIXED_PADS.items() if name not in ("RUN", "3V3_EN")},
    "1": "UART_TX",
    "2": "UART_RX",
    **{pad: f"BAR_{number}" for number, pad in enumerate(pins.BAR_PADS, start=1)},
    "19": "READ",
    "20": "STEP",
    "21": "BEEPER",
    "31": "LOW",
    "32": "HIGH",
    "34": "PADDED",
}


def _controller() -> Instance:
    nets = tuple((str(pad), CONTROLLER_NETS.get(str(pad), FREE)) for pad in range(1, 41))
    return Instance("U1", "controller", "controller", nets, "controller")


# The wires between the front end's board and the controller's, in the order of the connector's pins.
CABLE = (RAIL, REFERENCE, AGND, "PADDED", "LOW", "HIGH")


def _cables() -> list[Instance]:
    wires = tuple((str(place), net) for place, net in enumerate(CABLE, start=1))
    return [Instance(ref, "cable", "board connector", wires, "outputs") for ref in ("J3", "J4")]


def _microphone() -> list[Instance]:
    wires = (("1", MICROPHONE), ("2", AGND), ("3", "MIC"))
    return [
        Instance("MK1", "microphone", "microphone", wires, "low"),
        Instance("J1", "connector", "microphone connector", wires, "low"),
        Instance("D4", "diode", "suppressor", (("1", "MIC"), ("2", AGND)), "low"),
    ]


INSTANCES: tuple[Instance, ...] = (
    _controller(),
    *_microphone(),
    *_chain(_MICROPHONE, "low"),
    _quad("U2", {"A": ("M1", "MN", "M"), "B": (BIAS, "AN", "AOUT"), "C": (BIAS, "BN", "BOUT"),
                 "D": ("BOUT", "GN", "GOUT")}, "low"),
    *_chain(_LOW, "low"),
    _quad("U3", {"A": (BIAS, "HN", "HOUT"), "B": (BIAS, "CN", "COUT"), "C": (BIAS, "DN", "DOUT"),
                 "D": ("DOUT", "EN", "EOUT")}, "high"),
    *_chain(_HIGH, "high"),
    *_outputs(),
    *_chain(_BIAS, "outputs"),
    *_cables(),
    *_power(),
    *_panel(),
)  # fmt: skip
# Stage names as the notes use them, and the amplifier that each is.
STAGES = {"M": ("U2", "A"), "A1": ("U2", "B"), "A2": ("U2", "C"), "B": ("U2", "D"),
          "H1": ("U3", "A"), "F1": ("U3", "B"), "F2": ("U3", "C"), "H2": ("U3", "D")}  # fmt: skip

Connectivity = dict[str, frozenset[tuple[str, str]]]


def connectivity(instances: Iterable[Instance] = INSTANCES) -> Connectivity:
    """Net -> its (ref, pin) pairs; pins left free are no net."""
    found: dict[str, set[tuple[str, str]]] = {}
    for part in instances:
        for number, net in part.nets:
            if net != FREE:
                found.setdefault(net, set()).add((part.ref, number))
    return {net: frozenset(members) for net, members in found.items()}


def instance(ref: str) -> Instance:
    """The part of that name. Raises KeyError when there is none."""
    for part in INSTANCES:
        if part.ref == ref:
            return part
    raise KeyError(f"the table of nets has no part {ref}")
